"""Everything on one machine: environment, database, broker and the parts that run, for the scripts in deploy/."""
