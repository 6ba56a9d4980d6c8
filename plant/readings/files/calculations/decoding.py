"""Bytes of a logger's file to text."""

from typing import Final

from plant.basics.sentences import Sentence
from plant.readings.files.calculations.faults import refuse

UTF8_MARK: Final = b"\xef\xbb\xbf"
UTF16_MARKS: Final = (b"\xff\xfe", b"\xfe\xff")
# A workbook, a packed file, PDF, an older workbook: people send them under any name.
OTHER_KINDS: Final = {
    b"PK\x03\x04": Sentence.of("file.packed"),
    b"%PDF": Sentence.of("file.pdf"),
    b"\xd0\xcf\x11\xe0": Sentence.of("file.workbook"),
}
LOOKED_AT: Final = 4000


def decode(raw: bytes, encoding: str = "") -> tuple[str, str]:
    """Return the text and its encoding.

    Parameters
    ----------
    raw : bytes
        The whole file.
    encoding : str
        ``utf-8``, ``utf-16`` or ``cp1252`` where it is known; empty: it is found out. A mark at the start counts first.

    Raises
    ------
    FaultyFileError
        Where the bytes are no text, or broken; it names the line.
    """
    if not raw.strip():
        raise refuse(Sentence.of("file.empty"), Sentence.of("mend.send_again"))
    for start, kind in OTHER_KINDS.items():
        if raw.startswith(start):
            raise refuse(Sentence.of("file.no_text", kind=kind), Sentence.of("mend.export_csv"))
    if raw.startswith(UTF8_MARK):
        encoding = "utf-8"
    elif raw.startswith(UTF16_MARKS) or (not encoding and _looks_like_utf16(raw)):
        encoding = "utf-16"
    text, encoding = _decode_as(raw, encoding) if encoding else _find_out(raw)
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise refuse(Sentence.of("file.nul"), Sentence.of("mend.export_again"), line)
    return text.removeprefix("\ufeff"), encoding


def _looks_like_utf16(raw: bytes) -> bool:
    head = raw[:LOOKED_AT]
    return len(head) >= 4 and max(head[0::2].count(0), head[1::2].count(0)) > 0.4 * len(head)


def _find_out(raw: bytes) -> tuple[str, str]:
    try:
        return raw.decode("utf-8"), "utf-8"
    except UnicodeDecodeError as fault:
        broken_at = fault.start
    older, _encoding = _decode_as(raw, "cp1252")
    if "Â" in older or "Ã" in older:
        # What was UTF-8 shows these letters when it is read as Windows-1252: it is UTF-8 with a broken place.
        raise _broken("UTF-8", raw, broken_at)
    return older, "cp1252"


def _decode_as(raw: bytes, encoding: str) -> tuple[str, str]:
    codec = encoding
    if encoding == "utf-16" and not raw.startswith(UTF16_MARKS):
        head = raw[:LOOKED_AT]
        codec = "utf-16-be" if head[0::2].count(0) > head[1::2].count(0) else "utf-16-le"
    try:
        return raw.decode(codec), encoding
    except UnicodeDecodeError as fault:
        names = {"utf-8": "UTF-8", "utf-16": "UTF-16", "cp1252": "Windows-1252"}
        raise _broken(names[encoding], raw, fault.start) from None


def _broken(name: str, raw: bytes, at: int) -> Exception:
    line = raw.count(b"\n", 0, at) + 1
    return refuse(
        Sentence.of("file.bad_byte", byte=at + 1, encoding=name),
        Sentence.of("mend.export_utf8"),
        line,
    )
