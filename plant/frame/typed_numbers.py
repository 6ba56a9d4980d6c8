"""Numbers that come in an address or a form's field, where anybody may type anything."""

# What a row's number can be on both databases.
LARGEST = 2**63 - 1


def row_number(text: str) -> int:
    """Return the number of a row, 0 (no row has it) where the text is none: “²” is a digit, but not to ``int``."""
    if not (text.isascii() and text.isdigit() and len(text) < 20):
        return 0
    number = int(text)
    return number if number <= LARGEST else 0
