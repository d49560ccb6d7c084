"""TOML in, with the line of every key, and out, by the part of the language that cases use."""

import json
import re
import tomllib
from collections import Counter

_KEY = re.compile(r"^\s*([A-Za-z0-9_.\-\"' ]+?)\s*=")
_TABLE = re.compile(r"^\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(#.*)?$")
_PLACE = re.compile(r"\(at line (\d+), column (\d+)\)")
# How the parser spells the path of a key or table.
_PATH = re.compile(r"\(((?:'[^']*',? ?)+)\)")


def read(text, *, source):
    """Return the content of a TOML text as nested dicts.

    Raises
    ------
    ValueError
        If the text is not TOML; the sentence names `source` and the line.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        lines, found = text.splitlines(), _PLACE.search(str(error))
        line = int(found[1]) if found else len(lines)
        reason = _PLACE.sub("", str(error)).replace("(at end of document)", "").strip()
        reason = _PATH.sub(lambda path: ".".join(re.findall(r"'([^']*)'", path[1])), reason)
        written = lines[line - 1].strip() if 0 < line <= len(lines) else ""
        raise ValueError(
            f"{source} line {line}: the line must be TOML ({_lower_first(reason)}), "
            f"got {written!r}: correct it"
        ) from None
    except RecursionError:
        raise ValueError(
            f"{source}: the file must not nest lists or tables so deep, got too many levels: correct it"
        ) from None
    except ValueError as error:
        # The language refuses to read a whole number of thousands of digits.
        raise ValueError(
            f"{source}: the file must hold readable numbers, got one too long: correct it"
        ) from error


def line_of(text, path):
    """Return the line on which the key `path`, a tuple of names, is given, or None.

    A key that is missing is looked for as its table.
    """
    places = dict(_key_lines(text))
    for length in range(len(path), 0, -1):
        if (line := places.get(tuple(path[:length]))) is not None:
            return line
    return None


def spelled(value):
    """Return a value as TOML spells it, cut off where it is long: for telling what came."""
    try:
        text = _value(value)
    except TypeError:
        text = f"a table of {len(value)} keys" if isinstance(value, dict) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def write(content):
    """Return TOML text of a dict of plain values, of tables and of lists of tables, however deep."""
    return "\n\n".join(_blocks((), content)).strip() + "\n"


def _lower_first(words):
    return words[:1].lower() + words[1:]


def _key_lines(text):
    table, inside_text, counts = (), None, Counter()
    for number, line in enumerate(text.splitlines(), start=1):
        if inside_text:
            inside_text = None if inside_text in line else inside_text
            continue
        if found := _TABLE.match(line):
            table = _names(found[2])
            if found[1] == "[[":
                if not counts[table]:
                    # The list as a whole.
                    yield table, number
                counts[table] += 1
                table = (*table, counts[table] - 1)
            yield table, number
        elif found := _KEY.match(line):
            yield table + _names(found[1]), number
            inside_text = _left_open(line[found.end() :])


def _names(dotted):
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def _left_open(value):
    """Return the quotes of a text that goes on in the next line, or None."""
    for quotes in ('"""', "'''"):
        if value.count(quotes) % 2:
            return quotes
    return None


def _blocks(path, content, heading=""):
    """Yield one block of text a table, the plain values of a table before the tables inside it."""
    inner = {key: value for key, value in content.items() if isinstance(value, dict) or _is_tables(value)}
    plain = [f"{key} = {_value(value)}" for key, value in content.items() if key not in inner]
    yield "\n".join([heading, *plain] if heading else plain)
    for key, value in inner.items():
        name = ".".join((*path, key))
        for table in [value] if isinstance(value, dict) else value:
            head = f"[{name}]" if isinstance(value, dict) else f"[[{name}]]"
            yield from _blocks((*path, key), table, head)


def _is_tables(value):
    return isinstance(value, list | tuple) and bool(value) and all(isinstance(v, dict) for v in value)


def _value(value):
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, str):
        # JSON's escapes are TOML's, but for the delete character that TOML wants escaped too.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list | tuple):
        return f"[{', '.join(_value(item) for item in value)}]"
    raise TypeError(f"value must be text, a number, a truth value or a list, got {value!r}: write it plainly")
