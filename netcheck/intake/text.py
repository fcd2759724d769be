"""From bytes to text, and a clear word when the file is not a netlist at all."""

from __future__ import annotations

import re

from netcheck.ground.names import plain
from netcheck.ground.problems import Problem, Refused

# No netlist of a small board comes near this; the largest export seen has 0.3 MB.
MOST_BYTES = 200_000_000

_EXPORT = "export the netlist from the schematic editor (File > Export > Netlist, the editor's own format, not SPICE)"

# What other files begin with, as bytes that are no text ...
_BINARY = (
    (b"PK\x03\x04", "a zip archive"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"%PDF", "a PDF page"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"\xff\xfe", "text in UTF-16"),
    (b"\xfe\xff", "text in UTF-16"),
)

# ... and as text, blanks at the start left out. The first that fits is taken.
_BEGINNINGS = (
    (r"\(kicad_pcb\b", "a board file"),
    (r"PCBNEW-BOARD", "a board file of an old generation"),
    (r"\(kicad_sch\b", "a schematic file"),
    (r"EESchema Schematic File", "a schematic file of an old generation"),
    (r"\(kicad_symbol_lib\b|EESchema-(?:LIBRARY|DOCLIB)", "a symbol library"),
    (r"\((?:footprint|module)\b|PCBNEW-LibModule", "a footprint"),
    (r"\(kicad_\w+", "another file of the project"),
    (r"\((?:pcb|session)\b", "a file for an autorouter"),
    (r"\(\s*\{\s*EESchema Netlist", "a netlist in another format (for the layout program of a former generation)"),
    (r"\*PADS|\$PACKAGES|\*SIGNAL\*|#\s*EESchema Netlist", "a netlist in another format (for another layout program)"),
    (r"<\?xml\b[^<]*<export\b|<export\b", "a netlist in XML"),
    (r"<!doctype html|<html\b", "a web page"),
    (r"<\?xml|<\w", "an XML file"),
    (r"[\[{]", "a JSON file (a project file?)"),
    (r"G04\b|%FS[LT]A", "a Gerber file"),
    (r"%?M48\b", "a drill file"),
    (r"ISO-10303", "a STEP model"),
)
_SPICE = re.compile(
    r"^\s*\.(?:title|include|lib|end|ends|model|subckt|tran|ac|op|dc|param|options?|control)\b", re.I | re.M
)
_SPICE_PART = re.compile(r"^[RCLDQVIXMJ]\w*\s+\S+\s+\S+\s+\S+", re.I)
_CONTROL = re.compile("[\x00-\x08\x0e-\x1a\x1c-\x1f\x7f]")


def decode(data: bytes, file: str) -> tuple[str, str]:
    """The text of a file and the name of its encoding.

    A byte-order mark is taken off. What is not UTF-8 is read as Windows-1252, which editors of the first generations
    wrote on Windows.

    Args:
        data: contents of the file.
        file: its name as the user gave it, for messages.

    Raises:
        Refused: when the bytes are no text, or the text is that of another sort of file.

    >>> decode(b"\\xef\\xbb\\xbf(export)", "amp.net")
    ('(export)', 'UTF-8')
    >>> decode(b"(export (value 10\\xb5))", "amp.net")
    ('(export (value 10µ))', 'Windows-1252')
    """
    if len(data) > MOST_BYTES:
        raise too_large(file, len(data))
    if not data.strip():
        raise Refused(Problem(file, 0, 0, f"the file is empty; {_EXPORT}"))
    for beginning, sort in _BINARY:
        if data.startswith(beginning):
            raise Refused(Problem(file, 1, 1, f"this is {sort}, not a netlist; {_EXPORT}"))
    try:
        text, encoding = data.decode("utf-8-sig"), "UTF-8"
    except UnicodeDecodeError as first:
        try:
            text, encoding = data.decode("cp1252"), "Windows-1252"
        except UnicodeDecodeError:
            if b"\0" in data:
                raise Refused(Problem(file, 1, 0, f"this is a binary file, not a netlist; {_EXPORT}")) from None
            line = data.count(b"\n", 0, first.start) + 1
            what = "this is neither text in UTF-8 nor in Windows-1252; the file is damaged or no netlist"
            raise Refused(Problem(file, line, 0, f"{what}; {_EXPORT}")) from None
    _refuse_control(text, file)
    _refuse_others(text, file)
    return text, encoding


def too_large(file: str, size: int) -> Refused:
    """The refusal of a file that is far larger than any netlist."""
    what = f"the file has {size / 1e6:.0f} MB; a netlist of more than {MOST_BYTES // 1_000_000} MB is not read"
    return Refused(Problem(file, 0, 0, what))


def place(text: str, at: int) -> tuple[int, int]:
    """Line and column, from 1, of a position in a text.

    >>> place("(a\\n (b", 4)
    (2, 2)
    """
    return text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)


def _refuse_control(text: str, file: str) -> None:
    found = _CONTROL.search(text)
    # A control character after the last parenthesis (0x1A, the end of file of old systems) does no harm.
    if found and text.rfind(")") > found.start():
        line, column = place(text, found.start())
        what = f"the character {plain(found[0])} stands here; this is a binary file or a damaged netlist"
        raise Refused(Problem(file, line, column, f"{what}; {_EXPORT}"))
    if found and "(" not in text[: found.start()]:
        raise Refused(Problem(file, 1, 0, f"this is a binary file, not a netlist; {_EXPORT}"))


def _refuse_others(text: str, file: str) -> None:
    start = len(text) - len(text.lstrip())
    head = text[start : start + 2000]
    if re.match(r"\(\s*export\b", head):
        return
    line, _ = place(text, start)
    sort = next((name for pattern, name in _BEGINNINGS if re.match(pattern, head, re.I)), "")
    if not sort and (_SPICE.search(text[start : start + 100_000]) or _looks_like_parts(head)):
        sort = "a SPICE deck (a simulation), which has no pins and footprints"
    if sort:
        raise Refused(Problem(file, line, 0, f"this looks like {sort}; {_EXPORT}"))
    begins = plain(head.split("\n", 1)[0].strip(), 40)
    raise Refused(Problem(file, line, 0, f"this begins with '{begins}'; a netlist begins with '(export'; {_EXPORT}"))


def _looks_like_parts(head: str) -> bool:
    lines = [line for line in head.splitlines()[1:-1] if line.strip() and not line.startswith(("*", ";"))]
    return len(lines) >= 2 and sum(bool(_SPICE_PART.match(line)) for line in lines) > len(lines) / 2
