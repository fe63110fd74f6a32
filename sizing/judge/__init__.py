"""Judging installations from what they reported: weather, expectation, evidence, flags."""
