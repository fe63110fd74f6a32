"""Why an installation falls short: odds of the causes."""
