"""Ways to damage what a user hands over: bytes, lines, words, numbers, trees, other forms."""

import json
import random
import re

HOSTILE = (
    *("", " ", "-", "0", "-0", "-1", "1e400", "-1e400", "nan", "inf", "1e-400", "0x1F"),
    *("9" * 40, "9" * 5000, "1" + "0" * 400, "18446744073709551616", "1_000", "٣", "½"),
    *("null", "true", "[]", "{}", "[[[[[[]]]]]]", "[" * 3000, "{" * 3000, '"', "'''"),
    *(
        "\x1b[2J\x1b[31m GO",
        "\u202egnol",
        "\u2028",
        "\ud7ff",
        "\x00",
        "\x85",
        "é" * 300,
    ),
    *("<script>alert(1)</script>", "=cmd|'/C calc'!A0", "'); DROP TABLE entry; --"),
    *("../../../../etc/passwd", "/dev/zero", "con", "a" * 4000, "1979-05-27", "24:61"),
    *("2026-02-30T25:00Z", "9999-12-31T23:59:59Z", "0001-01-01T00:00+14:00", "now"),
    *("1e9 km", "5 furlongs", "-3 kg", "0 m", "1e-30 g", "12 mph from 720", "90 deg"),
)


def damaged(rng: random.Random, data: bytes, other: bytes) -> bytes:
    """Damage a file in one to four ways."""
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        data = rng.choice(_WAYS)(rng, data, other)
    return data


def _bytes(rng: random.Random, data: bytes, other: bytes) -> bytes:
    del other
    found = bytearray(data)
    for _ in range(rng.choice((1, 3, 20))):
        if found:
            found[rng.randrange(len(found))] = rng.randrange(256)
    return bytes(found)


def _cut(rng: random.Random, data: bytes, other: bytes) -> bytes:
    del other
    a, b = sorted(rng.randrange(len(data) + 1) for _ in range(2))
    return rng.choice((data[:a], data[:a] + data[b:], data[:b] + data[a:]))


def _lines(rng: random.Random, data: bytes, other: bytes) -> bytes:
    del other
    lines = data.splitlines(keepends=True)
    if len(lines) < 2:
        return data
    i, j = rng.randrange(len(lines)), rng.randrange(len(lines))
    ways = (
        lambda: lines.pop(i),
        lambda: lines.insert(i, lines[j]),
        lambda: lines.__setitem__(i, lines[j]),
    )
    rng.choice(ways)()
    return b"".join(lines)


_TOKEN = re.compile(rb'"[^"\n]*"|[-+]?\d[\d.,:eE+-]*|[A-Za-z_]{2,}')


def _token(rng: random.Random, data: bytes, other: bytes) -> bytes:
    """Put something hostile, or a word from elsewhere, in the place of a word or number."""
    found = list(_TOKEN.finditer(data))
    if not found:
        return data
    spot = rng.choice(found)
    more = _TOKEN.findall(other) or [b""]
    new = rng.choice((rng.choice(HOSTILE).encode(), rng.choice(more)))
    if rng.random() < 0.5:
        new = b'"' + new.replace(b'"', b"") + b'"'
    return data[: spot.start()] + new + data[spot.end() :]


def _number(rng: random.Random, data: bytes, other: bytes) -> bytes:
    """Scale a number far away."""
    del other
    found = list(re.finditer(rb"(?<![\w.])-?\d+\.?\d*", data))
    if not found:
        return data
    spot = rng.choice(found)
    factor = rng.choice((-1, 0, 1e-9, 1e-3, 0.1, 10, 1e3, 1e6, 1e12, 1e300))
    new = repr(float(spot[0][:300]) * factor).encode()
    return data[: spot.start()] + new + data[spot.end() :]


def _tree(rng: random.Random, data: bytes, other: bytes) -> bytes:
    """Change one node of a JSON tree; one nested deeper than Python follows stays."""
    del other
    try:
        return _changed(rng, data)
    except (ValueError, RecursionError):
        return data


def _changed(rng: random.Random, data: bytes) -> bytes:
    tree = json.loads(data)
    nodes = list(_nodes(tree))
    if not nodes:
        return data
    holder, key = rng.choice(nodes)
    odd = (*HOSTILE[:30], None, True, 10**400, -1e308, [], {}, [[0, 0]] * 50)
    change = rng.randrange(3)
    if change == 0:
        holder[key] = rng.choice(odd)
    elif change == 1 and isinstance(holder, list):
        holder.insert(key, holder[key])
    else:
        del holder[key]
    return json.dumps(tree).encode()


def _nodes(tree: object):
    if not isinstance(tree, dict | list):
        return
    pairs = tree.items() if isinstance(tree, dict) else enumerate(tree)
    for key, value in list(pairs):
        yield tree, key
        yield from _nodes(value)


def _splice(rng: random.Random, data: bytes, other: bytes) -> bytes:
    a, b = rng.randrange(len(data) + 1), rng.randrange(len(other) + 1)
    return rng.choice((other, data[:a] + other[b:], other[:b] + data[a:]))


def _recoded(rng: random.Random, data: bytes, other: bytes) -> bytes:
    del other
    text = data.decode("utf-8", "replace")
    form = rng.choice(("utf-16", "utf-32", "utf-8-sig", "latin-1", "cp037"))
    return text.encode(form, "replace")


_WAYS = (_bytes, _cut, _lines, _token, _token, _token, _number, _number, _tree, _tree)
_WAYS += (_splice, _recoded)


def damaged_words(rng: random.Random, text: str) -> str:
    """Damage a few words as they are typed or sent, or put others in their place."""
    if rng.random() < 0.3:
        return rng.choice(HOSTILE)
    way = rng.choice((_bytes, _cut, _token, _number))
    return way(rng, text.encode(), b"5 kt").decode("utf-8", "replace")


def damaged_tree(rng: random.Random, tree: object) -> object:
    """Damage one node of what a page sends."""
    data = json.dumps(tree).encode()
    for _ in range(rng.choice((1, 1, 2))):
        data = rng.choice((_tree, _token, _number))(rng, data, b"5 kt")
    try:
        return json.loads(data)
    except (ValueError, RecursionError):
        return rng.choice((None, [], "", 0, {}))
