"""Addresses in texts: they may hold a password, so no text for others shows one."""

import re
from collections.abc import Iterator
from typing import Any

_ADDRESS = re.compile(r"([A-Za-z][\w+.-]*)://[^\s'\"`<>…]+")


def concealed(text: str) -> str:
    """Return the text with everything after "://" in an address blotted out."""
    return _ADDRESS.sub(r"\1://…", text)


def without_addresses(data: bytes) -> bytes:
    """Return the settings with $SHELFBELL_NAME for each `url` that is written out.

    Blot out whatever else looks like an address (in a comment, in a file that cannot be read).
    """
    text = data.decode("utf-8", "replace")
    for start, end, name in sorted(_urls(text), reverse=True):
        text = f"{text[:start]}$SHELFBELL_{re.sub('[^A-Z0-9]', '_', name.upper())}{text[end:]}"
    return concealed(text).encode()


def _urls(text: str) -> set[tuple[int, int, str]]:
    """Return where each url is written out, and the name of its channel."""
    import yaml

    try:
        root = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.YAMLError:
        return set()
    return {
        (value.start_mark.index, _end_of(value, text), name)
        for name, mapping in _mappings(root, "channel")
        for key, value in mapping.value
        if key.value == "url" and isinstance(value.value, str) and not value.value.startswith("$")
    }


def _end_of(value: Any, text: str) -> int:
    """Return where a value ends, without the white space that a block takes in."""
    start, end = value.start_mark.index, value.end_mark.index
    return start + len(text[start:end].rstrip())


def _mappings(node: Any, name: str, depth: int = 4) -> Iterator[tuple[str, Any]]:
    """Return every mapping in a document of settings, to some depth, with its key."""
    import yaml

    if isinstance(node, yaml.MappingNode) and depth:
        yield name, node
        for key, value in node.value:
            yield from _mappings(value, str(key.value), depth - 1)
