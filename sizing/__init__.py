"""The engineering of a solar well pump: arrays in, arrays out."""
