"""The registry asks the engineering package: what fits a surveyed well, which way an array should look."""
