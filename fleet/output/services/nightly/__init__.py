"""The nightly judgement between rows and arrays: what is loaded, carried from night to night, and stored.

The judging itself is `sizing.judge` and `sizing.causes`; nothing here decides whether a unit is well.
"""
