"""Marks texts for translation where Django is not to be imported."""


def gettext_noop(text: str) -> str:
    """Return a text as it is: makemessages knows this name, and whoever shows the text translates it."""
    return text
