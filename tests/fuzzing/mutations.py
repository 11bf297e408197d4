"""Ways to spoil a good file: by bytes, cells, parts of a workbook, nodes of JSON, lines.

Each takes a source of chance, with the methods of `random.Random`, and gives the spoiled bytes. The
same source gives the same file, so that a case is told by its number alone.
"""

from __future__ import annotations

import io
import json
import re
import zipfile
from collections.abc import Mapping
from random import Random

NASTY = (
    "", " ", "0", "-0", "-1", "1e308", "1e309", "1e-9", "-1e-320", "nan", "inf", "-Infinity",
    "1,5", "1.234,5", "1,200", "1'000", "1 000", "\u0661\u0662", "\u0967", "\uff11", "\u00b2",
    "\u2460", "9" * 30, "9" * 400, "9" * 5000, "0x10", "1_000", "+5", "--5", "5-", "½", "3/4",
    "2024-02-30", "31.12.9999", "0000-00-00", "1.1.1", "24:00", "99:99", "true", "TRUE", "None",
    "null", "=1+1", "@SUM(A1)", "'=1", "+cmd|' /C calc'!A0", "\t", "\n", "\r", "a\nb", "\x00",
    "\x07", "\x1b[31m",
    "\x7f", "\x85", "\u00ad", "\u200b", "\u200e", "\u202e", "abc\u202egpj", "\u2066x\u2069",
    "\u2028", "\u2029", "\ufeff", "\ufffe", "\ufffd", "\U000e0041", "\U0010ffff", "👩‍🔧",
    "e\u0301" * 40, "ß", "İ", "ﬁ", "\u0130\u0131", '"', '""', "'", ",", ";", "\\", "%s", "{0}",
    "{{x}}", "${jndi:x}", "<b>", "&amp;", "../../etc/passwd", "C:\\nul", "con", "x" * 2_001,
    "x" * 140_000, "[" * 200, "flipper", "worn", "hidden", "dot-matrix", "missing 2; flipper",
    "modern", "1900", "9999-12-31", "10000-01-01", "1e5", "0.1", "0.30000000000000004", "99999",
)
"""What people, spreadsheets and attackers put into a cell."""

NUMBERS = ("-1", "0", "1", "16384", "16385", "1048576", "1048577", "4294967296", "9" * 25,
           "1e400", "nan", "", "x", "A1", "XFD1048576", "ZZZZ1", "A0", "-A1", "$A$1", "\u0661")


def nasty(chance: Random) -> str:
    """One of the words above, or two run together."""
    word = chance.choice(NASTY)
    return word + chance.choice(NASTY) if chance.random() < 0.1 else word


def by_bytes(chance: Random, data: bytes) -> bytes:
    """One to four blows: bits turned, stretches cut out, doubled, moved or put in; cut short."""
    data = bytearray(data or b"\0")
    for _ in range(chance.randint(1, 4)):
        if not data:
            return b""
        at = chance.randrange(len(data))
        end = min(len(data), at + chance.choice((1, 2, 7, 40, 300)))
        kind = chance.randrange(6)
        if kind == 0:
            data[at] ^= 1 << chance.randrange(8)
        elif kind == 1:
            del data[at:end]
        elif kind == 2:
            data[at:at] = data[at:end] * chance.choice((1, 2, 50))
        elif kind == 3:
            data[at:at] = nasty(chance)[:500].encode("utf-8", "surrogatepass")
        elif kind == 4:
            data[at:end] = bytes(chance.randrange(256) for _ in range(end - at))
        else:
            del data[at:]
    return bytes(data)


def of_table(chance: Random, data: bytes) -> bytes:
    """A CSV file with cells, rows, columns, marks, quotes or its encoding spoiled."""
    text = data.decode("utf-8-sig", "replace")
    mark = chance.choice((",", ",", ",", ";", "\t"))
    rows = [line.split(",") for line in text.splitlines()] or [[""]]
    for _ in range(chance.choice((1, 1, 1, 2, 5))):
        row = chance.choice(rows)
        place = chance.randrange(len(row)) if row else 0
        kind = chance.randrange(12)
        if kind < 5 and row:
            row[place] = _quoted(chance, nasty(chance))
        elif kind == 5 and row:
            del row[place]
        elif kind == 6:
            row.insert(place, _quoted(chance, nasty(chance)))
        elif kind == 7:
            rows.insert(chance.randrange(len(rows) + 1), list(row))
        elif kind == 8 and len(rows) > 1:
            rows.remove(row)
        elif kind == 9:
            chance.shuffle(row)
        elif kind == 10 and row:
            row[place] = '"' + row[place]
        else:
            row += [""] * chance.choice((1, 40, 2_000))
    said = chance.choice(("\n", "\n", "\r\n", "\r", "\n\n")).join(mark.join(row) for row in rows)
    coding = chance.choice(("utf-8",) * 6 + ("utf-8-sig", "utf-16", "utf-16-le", "latin-1",
                                             "utf-32"))
    made = said.encode(coding, "replace")
    made = b"\xef\xbb\xbf" + made if chance.random() < 0.03 else made
    return by_bytes(chance, made) if chance.random() < 0.2 else made


def _quoted(chance: Random, word: str) -> str:
    return '"' + word.replace('"', '""') + '"' if chance.random() < 0.5 else word


_VALUE = re.compile(r"(<(?:\w+:)?(?:v|t|f)(?: [^>]*)?>)([^<]*)(</)")
_ATTRIBUTE = re.compile(r'( [\w:]+=")([^"]*)(")')
_ELEMENT = re.compile(r"<(\w+)[^<>]*/>|<(\w+)[^<>]*>[^<>]*</\2>")


def of_workbook(chance: Random, data: bytes) -> bytes:
    """A workbook with values, attributes, elements or whole parts spoiled; or its archive."""
    if chance.random() < 0.12:
        return by_bytes(chance, data)
    parts = unpacked(data)
    for _ in range(chance.choice((1, 1, 2, 4))):
        inner = [name for name in parts if re.search("sheet|shared|workbook", name)]
        name = chance.choice(inner if inner and chance.random() < 0.8 else list(parts) or ["x"])
        parts[name] = _part(chance, parts.get(name, b""))
        if chance.random() < 0.06:
            parts.pop(name)
        elif chance.random() < 0.04:
            parts[chance.choice(list(parts))] = parts.pop(name)
    return packed(parts)


def _part(chance: Random, part: bytes) -> bytes:
    text = part.decode("utf-8", "replace")
    kind = chance.randrange(10)
    if kind < 3:
        text = _one(chance, _VALUE, text, lambda found: found[1] + _safe(nasty(chance)) + found[3])
    elif kind < 6:
        text = _one(chance, _ATTRIBUTE, text, lambda found: found[1] + _safe(chance.choice(
            (chance.choice(NUMBERS), nasty(chance), "s", "b", "e", "d", "inlineStr", "shared")))
            + found[3])
    elif kind == 6:
        many = chance.choice((0, 2, 500))
        text = _one(chance, _ELEMENT, text, lambda found: found[0] * many)
    elif kind == 7:
        text = text.replace("<v>", chance.choice(("<f>1+1</f><v>", '<f t="shared" si="0"/><v>',
                                                  "<is><t>x</t></is><v>")), 3)
    elif kind == 8:
        made = text.replace("UTF-8", "UTF-16").encode(chance.choice(("utf-16", "utf-16-le")))
        return made if chance.random() < 0.5 else text.encode("cp1252", "replace")
    else:
        return by_bytes(chance, part)
    return text.encode("utf-8", "surrogatepass")


def _one(chance: Random, what: re.Pattern, text: str, how) -> str:
    found = list(what.finditer(text))
    if not found:
        return text
    hit = chance.choice(found)
    return text[: hit.start()] + how(hit) + text[hit.end():]


def _safe(word: str) -> str:
    return word.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")


def unpacked(data: bytes) -> dict[str, bytes]:
    """Parts of a zip archive by name."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(parts: Mapping[str, bytes]) -> bytes:
    """A zip archive of parts by name."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(zipfile.ZipInfo(name), part, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def of_json(chance: Random, data: bytes) -> bytes:
    """JSON with nodes replaced, dropped, doubled or nested deep; or its bytes spoiled."""
    if chance.random() < 0.2:
        return by_bytes(chance, data)
    held = [json.loads(data)]
    for _ in range(chance.choice((1, 1, 2, 4))):
        _node(chance, held)
    made = json.dumps(held[0], ensure_ascii=chance.random() < 0.5)
    if chance.random() < 0.1:
        made = re.sub(r'("\w+"): ', lambda found: f"{found[0]}null, {found[0]}", made, count=1)
    if chance.random() < 0.05:
        made = made.replace(": 1", ": 1" + "0" * chance.choice((20, 400, 5_000)), 1)
    coding = chance.choice(("utf-8",) * 8 + ("utf-16", "utf-8-sig", "latin-1"))
    return made.encode(coding, "replace")


def _node(chance: Random, held) -> None:
    """Go down a random way and spoil what is there."""
    while True:
        keys = list(held) if isinstance(held, dict) else range(len(held))
        key = chance.choice(keys)
        below = held[key]
        if not isinstance(below, dict | list) or not below or chance.random() < 0.15:
            break
        held = below
    kind = chance.randrange(8)
    if kind < 4:
        held[key] = chance.choice((
            None, True, False, 0, -1, 2**63, 10**30, 1e308, float("nan"), float("-inf"), [], {},
            [[]], {"a": {}}, "", nasty(chance), nasty(chance), nasty(chance), [1, "x", None]))
    elif kind == 4 and isinstance(held, dict):
        del held[key]
        held or held.update(x=1)
    elif kind == 5 and isinstance(held, list):
        held.append(below)
    elif kind == 6:
        deep: object = below
        for _ in range(chance.choice((3, 60, 400))):
            deep = [deep]
        held[key] = deep
    elif isinstance(held, dict):
        held[nasty(chance)] = held.pop(key)


_SAID = ("1e400", "nan", "-inf", "0x7fffffffffffffff", "9" * 400, "1_0.0", "[]", "{}", "[[[1]]]",
         "{a = {b = 1}}", "true", '""', "''", '"""x"""', '"\\u202e"', "2026-02-30", "2026-01-01",
         "12:00:00", "1979-05-27T07:32:00Z", "-1", "0", "0.5", "99", "1e-9", "[" * 2_000,
         '"\\ud800"', '"9-17"', '"closed closed"', '"QQQ"', '"xx_YY"', '"DE"', '"postgresql://x"',
         "0.999999")


def of_toml(chance: Random, data: bytes) -> bytes:
    """TOML with values, keys and lines spoiled."""
    lines = data.decode("utf-8", "replace").splitlines()
    for _ in range(chance.choice((1, 1, 2, 5))):
        at = chance.choice([i for i, line in enumerate(lines) if "=" in line] or [0])
        key = lines[at].lstrip("# ").partition("=")[0]
        kind = chance.randrange(8)
        if kind < 3:
            lines[at] = f"{key}= {chance.choice(_SAID)}"
        elif kind == 3:
            word = nasty(chance).replace("\\", "\\\\").replace('"', '\\"')
            lines[at] = f'{key}= "{word}"'
        elif kind == 4:
            lines[at] = f"{key}= {nasty(chance)}"
        elif kind == 5:
            lines.insert(at, chance.choice((lines[at], f"[{key.strip()}]", f"[[{key.strip()}]]",
                                            "[people]", "people = 3", "[[people]]", "[[closed]]",
                                            'closed = [{first = 2026-01-01, last = 2025-01-01}]',
                                            'people = [{name = "", skills = "x", pace = nan}]',
                                            f"{chance.choice(_SAID)} = 1", "a.b.c.d = 1")))
        elif kind == 6:
            del lines[at]
        else:
            lines[at] = lines[at].lstrip("# ")
    made = "\n".join(lines).encode("utf-8", "surrogatepass")
    return by_bytes(chance, made) if chance.random() < 0.2 else made


def of_text(chance: Random, data: bytes) -> bytes:
    """A few words as they are typed or pasted."""
    words = [nasty(chance)[:3_000]] if chance.random() < 0.6 else data.decode().split()
    for _ in range(chance.randint(0, 3)):
        words.insert(chance.randint(0, len(words)), nasty(chance)[:3_000])
    return "".join(word + chance.choice((" ", "", ",", ":", "=")) for word in words)[
        : 5_000].encode("utf-8", "surrogatepass")
