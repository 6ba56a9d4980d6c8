"""A reason that others can understand later: a sentence, not a word or a key pressed to get on."""

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

LEAST_WORDS = 4
LEAST_LETTERS = 15


def require_sentence(text: str, *, most: int = 300) -> str:
    """Return a reason without spaces around it; refuse one that is shorter than a sentence or longer than it may be."""
    said = " ".join(text.split())
    words = [word for word in said.split(" ") if any(letter.isalpha() for letter in word)]
    if len({word.lower() for word in words}) < LEAST_WORDS or len(said) < LEAST_LETTERS:
        raise ValidationError(
            _("Say why in a sentence of at least %(words)d words: others must understand it later.")
            % {"words": LEAST_WORDS},
            code="sentence",
        )
    if len(said) > most:
        raise ValidationError(_("Say it in at most %(most)d characters.") % {"most": most})
    return said
