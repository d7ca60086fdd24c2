"""The error of a criteria file."""


class CriteriaError(ValueError):
    """Criteria are missing or wrong; the message says where, what is expected, and one line an error."""
