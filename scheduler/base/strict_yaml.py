"""A strict reader of YAML files: plain data, and the place of every value and key.

Built on the events of PyYAML (libyaml where it is there), so that scalars are those of YAML 1.2
(`yaml_scalars`) and nothing is built that the limits below forbid. Refused: duplicate keys, keys that are not
text, merge keys (`<<`, which YAML 1.2 dropped), tags outside the core schema, a second document, anything but
UTF-8.
"""

import re
from collections.abc import Iterable
from typing import Any, NamedTuple, NoReturn

import yaml

from scheduler.base.findings import Finding, Refused
from scheduler.base.yaml_scalars import Scalar, is_text, plain, tagged

# Far above what people write (65 rules: some 4,000 values, 70,000 characters, 10 deep), far below what hurts.
MAX_CHARACTERS = 8_000_000
MAX_VALUES = 400_000  # aliases counted as often as they are repeated
MAX_DEPTH = 32

Path = tuple[str | int, ...]
Place = tuple[int, int]

_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_CORE_TAG = "tag:yaml.org,2002:"

# YAML 1.2.2 production [1] c-printable, less the three line breaks of YAML 1.1 that 1.2 reads as text.
_FORBIDDEN = re.compile("[^\t\n\r\x20-\x7e\xa0-\u2027\u202a-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

_BAD_INDENT = "the indentation is off"
_ADVICE = {
    "mapping values are not allowed in this context": f"a text with ': ' needs quotes, or {_BAD_INDENT}",
    "found character that cannot start any token": "indent with spaces; a text that begins so needs quotes",
    "found a tab character that violates indentation": "indent with spaces",
    "did not find expected key": f"a text with quotes or brackets in it needs quotes, or {_BAD_INDENT}",
    "did not find expected '-' indicator": _BAD_INDENT,
    "did not find expected ',' or '}'": "close the '{', or put quotes around a text that begins so",
    "did not find expected ',' or ']'": "close the '[', or put quotes around a text that begins so",
    "could not find expected ':'": "a key needs ': ' after it",
    "found unexpected end of stream": "a quote is not closed",
}


class YamlFile(NamedTuple):
    """The data of one file, and (line, column), counted from 1, of each value and key."""

    data: Any
    places: dict[Path, Place]
    key_places: dict[Path, Place]
    file: str

    def place(self, path: Iterable[str | int]) -> Place:
        """Return the place of the value at `path`, else of its nearest parent with one."""
        known = tuple(path)
        while known and known not in self.places:
            known = known[:-1]
        return self.places.get(known, (0, 0))

    def finding(self, path: Iterable[str | int], text: str, key: bool = False) -> Finding:
        """Return a finding at the value at `path`, or at its key."""
        path = tuple(path)
        line, column = (self.key_places.get(path) if key else None) or self.place(path)
        return Finding(self.file, line, column, text)


def read(source: str | bytes, file: str) -> YamlFile:
    """Read one YAML document; `file` is the name that findings carry.

    Raises Refused with every finding, or those up to the first that makes the rest unreadable.
    """
    return _YamlReader(_decoded(source, file), file).document()


def _decoded(source: str | bytes, file: str) -> str:
    if len(source) > MAX_CHARACTERS:
        raise Refused([Finding(file, 0, 0, f"is too large: at most {MAX_CHARACTERS:,} characters are read")])
    try:
        text = source.decode("utf-8") if isinstance(source, bytes) else source
    except UnicodeDecodeError as error:
        place = _end_of(error.object[: error.start].decode("utf-8"))
        wrong = f"byte 0x{error.object[error.start]:02x} is not UTF-8: save the file in that encoding"
        raise Refused([Finding(file, *place, wrong)]) from None
    text = text.removeprefix("\ufeff")
    if forbidden := _FORBIDDEN.search(text):
        place = _end_of(text[: forbidden.start()])
        character = f"U+{ord(forbidden[0]):04X}"
        wrong = f"character {character} is not allowed: remove it, or escape it in double quotes"
        raise Refused([Finding(file, *place, wrong)])
    return text


def _end_of(text: str) -> Place:
    lines = f"{text}.".splitlines()
    return len(lines), len(lines[-1])


class _YamlReader:
    """One pass over the events of one file.

    The length of a path is the depth of its value.
    """

    def __init__(self, text: str, file: str) -> None:
        self.file = file
        self.events = yaml.parse(text, Loader=_LOADER)
        self.places: dict[Path, Place] = {}
        self.key_places: dict[Path, Place] = {}
        self.anchors: dict[str, tuple[Path, Any]] = {}
        self.findings: list[Finding] = []
        self.values = 0

    def document(self) -> YamlFile:
        try:
            data = self.only_value()
        except yaml.YAMLError as error:
            self.stop(*_unreadable(error))
        if self.findings:
            raise Refused(sorted(self.findings))
        return YamlFile(data, self.places, self.key_places, self.file)

    def only_value(self) -> Any:
        next(self.events)  # the stream begins
        if isinstance(next(self.events), yaml.StreamEndEvent):
            self.stop((1, 1), "is empty: nothing but blank lines and comments")
        data = self.value(next(self.events), ())
        next(self.events)  # the document ends
        if not isinstance(event := next(self.events), yaml.StreamEndEvent):
            self.stop(_place(event), "a second document begins here: a file holds just one")
        return data

    def found(self, place: Place, text: str) -> None:
        self.findings.append(Finding(self.file, *place, text))

    def stop(self, place: Place, text: str) -> NoReturn:
        self.found(place, text)
        raise Refused(sorted(self.findings)) from None

    def enter(self, path: Path, place: Place) -> None:
        self.values += 1
        if self.values > MAX_VALUES:
            self.stop(place, f"more than {MAX_VALUES:,} values, aliases counted as often as they are used")
        if len(path) > MAX_DEPTH:
            self.stop(place, f"nested more than {MAX_DEPTH} deep")
        self.places[path] = place

    def value(self, event: Any, path: Path) -> Any:
        self.enter(path, _place(event))
        if isinstance(event, yaml.AliasEvent):
            return self.alias(event, path)
        self.anchors.pop(event.anchor, None)
        value = self.new_value(event, path)
        if event.anchor:
            self.anchors[event.anchor] = path, value
        return value

    def new_value(self, event: Any, path: Path) -> Any:
        if isinstance(event, yaml.ScalarEvent):
            return self.scalar(event)
        if isinstance(event, yaml.SequenceStartEvent):
            return self.sequence(event, path)
        return self.mapping(event, path)

    def scalar(self, event: Any) -> Scalar:
        text, tag = event.value, event.tag
        try:
            if tag is not None:
                return tagged(_core(tag), text)
            return plain(text) if event.implicit[0] else text
        except OverflowError:
            wrong = f"{_brief(text)} is too large a number: if it is a name, put quotes around it"
            self.found(_place(event), wrong)
        except ValueError:
            self.found(_place(event), f"{_brief(text)} is no !!{_core(tag)}: leave the tag out")
        except LookupError:
            self.refuse_tag(event)
        return None

    def sequence(self, event: Any, path: Path) -> list[Any]:
        self.check_tag(event, "seq")
        values: list[Any] = []
        while not isinstance(item := next(self.events), yaml.SequenceEndEvent):
            values.append(self.value(item, (*path, len(values))))
        return values

    def mapping(self, event: Any, path: Path) -> dict[str, Any]:
        self.check_tag(event, "map")
        values: dict[str, Any] = {}
        while not isinstance(item := next(self.events), yaml.MappingEndEvent):
            key = self.key(item, path)
            self.enter_key((*path, key), _place(item))
            values[key] = self.value(next(self.events), (*path, key))
        return values

    def enter_key(self, path: Path, place: Place) -> None:
        line, _ = self.key_places.setdefault(path, place)
        if self.key_places[path] != place:
            key = _brief(str(path[-1]))
            self.found(place, f"the key {key} is here twice, first in line {line}: keep one")

    def key(self, event: Any, path: Path) -> str:
        if fault := _key_fault(event):
            self.found(_place(event), fault)
        if isinstance(event, yaml.ScalarEvent):
            return str(event.value)
        stand_in = "?{}:{}".format(*_place(event))
        self.value(event, (*path, stand_in))  # to read on behind it
        return stand_in

    def alias(self, event: Any, path: Path) -> Any:
        if event.anchor not in self.anchors:
            name = event.anchor
            self.found(_place(event), f"*{name} repeats nothing: no value that ends before is marked &{name}")
            return None
        source, value = self.anchors[event.anchor]
        return self.repeated(value, source, path)

    def repeated(self, value: Any, source: Path, path: Path) -> Any:
        """Return a copy for `path` of what is at `source`, whose parts keep their places."""
        if not isinstance(value, dict | list):
            return value
        members = value.items() if isinstance(value, dict) else enumerate(value)
        copy = {}
        for name, member in members:
            here, there = (*source, name), (*path, name)
            self.enter(there, self.places[here])
            if here in self.key_places:
                self.key_places[there] = self.key_places[here]
            copy[name] = self.repeated(member, here, there)
        return copy if isinstance(value, dict) else list(copy.values())

    def check_tag(self, event: Any, core: str) -> None:
        if event.tag not in (None, "!", _CORE_TAG + core):
            self.refuse_tag(event)

    def refuse_tag(self, event: Any) -> None:
        tag = event.tag.replace(_CORE_TAG, "!!")
        self.found(_place(event), f"the tag {tag} is not allowed here: leave it out")


def _place(event: Any) -> Place:
    return event.start_mark.line + 1, event.start_mark.column + 1


def _core(tag: str) -> str:
    """Return the last word of a core tag, else "".

    "!" asks for text: https://yaml.org/spec/1.2.2/ section 6.9.1.
    """
    if tag == "!":
        return "str"
    return tag.removeprefix(_CORE_TAG) if tag.startswith(_CORE_TAG) else ""


def _key_fault(event: Any) -> str | None:
    if not isinstance(event, yaml.ScalarEvent):
        return "a key must be text, not a list, a mapping or an alias"
    if event.tag is not None:
        return "a key takes no tag: leave it out"
    if not event.implicit[0]:
        return None
    if event.value == "<<":
        return "merge keys ('<<') are not part of YAML 1.2: write the keys out"
    if is_text(event.value):
        return None
    return f"the key {event.value} is not text: put quotes around it" if event.value else "the key is missing"


def _brief(text: str) -> str:
    return repr(text if len(text) <= 40 else f"{text[:39]}…")


def _unreadable(error: yaml.YAMLError) -> tuple[Place, str]:
    """Return the place and text of a syntax error, with what usually fixes it."""
    if not isinstance(error, yaml.MarkedYAMLError):
        return (0, 0), f"not YAML: {error}"
    text = f"not YAML: {error.problem}"
    if error.context and error.context_mark:
        text += f" {error.context} from line {error.context_mark.line + 1}"
    if advice := _ADVICE.get(error.problem or ""):
        text += f" ({advice})"
    mark = error.problem_mark
    return (mark.line + 1, mark.column + 1) if mark else (0, 0), text
