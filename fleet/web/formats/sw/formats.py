from fleet.web.formats import DATE_INPUT_FORMATS, DATETIME_INPUT_FORMATS, TIME_INPUT_FORMATS

# As in East African print, from memory; the framework knows no marks for this language and would group nothing.
DECIMAL_SEPARATOR, THOUSAND_SEPARATOR, NUMBER_GROUPING = ".", ",", 3

__all__ = [
    "DATETIME_INPUT_FORMATS", "DATE_INPUT_FORMATS", "DECIMAL_SEPARATOR", "NUMBER_GROUPING", "THOUSAND_SEPARATOR",
    "TIME_INPUT_FORMATS",
]  # fmt: skip
