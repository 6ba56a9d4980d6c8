"""A page as a browser takes it: how a template is broken into lines is nobody's concern."""

import re
from typing import Any

# White space at the edges of these is never seen.
BLOCKS = (
    "p|div|section|article|header|footer|main|nav|aside|h[1-4]|ul|ol|li|dl|dt|dd|table|tr|th|td|form|fieldset|legend"
)
AT_AN_EDGE = re.compile(rf" ?(</?(?:{BLOCKS})\b[^>]*>) ?")


def markup(answer: Any) -> str:
    """Return the HTML of an answer with each run of white space as one space, and none at the edges of blocks."""
    one_line = " ".join(answer.content.decode().split()).replace(" >", ">")
    return AT_AN_EDGE.sub(r"\1", one_line)
