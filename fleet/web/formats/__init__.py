"""How dates are written into form fields, in every language: the browser's own date fields read ISO 8601 only."""

DATE_INPUT_FORMATS = ["%Y-%m-%d", "%d/%m/%Y", "%d.%m.%Y"]
TIME_INPUT_FORMATS = ["%H:%M", "%H:%M:%S", "%H:%M:%S.%f"]
DATETIME_INPUT_FORMATS = ["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M:%S.%f", "%Y-%m-%d"]
