"""Why an installation falls short: signatures of the causes from the chain, and their odds from all readings."""
