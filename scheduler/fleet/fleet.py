"""The items of a fleet, looked up by id and by kind."""

from collections.abc import Callable, Iterable, Iterator
from functools import cache, cached_property
from typing import Any, NamedTuple

from scheduler.fleet.plates import SECTIONS, Plate, fields


class Item(NamedTuple):
    """One item: its id, its kind and its nameplate.

    Defaults are filled in; an absent field without one is None.
    """

    id: str
    kind: str
    plate: dict[str, Any]

    def fits(self, aircraft: str) -> bool:
        """Return True if its nameplate names that aircraft."""
        return aircraft in (self.plate.get("fits") or ())


def make_item(kind: str, raw: dict[str, object]) -> Item:
    """Return the item that a checked nameplate describes."""
    return Item(str(raw["id"]), kind, {name: _read(plate, name, raw) for name, plate in fields(kind).items()})


def _read(plate: Plate, name: str, raw: dict[str, object]) -> Any:
    return plate.read(raw[name]) if name in raw else plate.default  # type: ignore[operator]


HOME = Item("home", "home", {"id": "home"})


Sections = dict[str, list[dict[str, object]]]
"""The sections of fleet.yaml with their nameplates."""
Nameplate = tuple[str, dict[str, object]]
"""The kind of an item, and what fleet.yaml has of it."""


def nameplates(sections: Sections) -> dict[str, Nameplate]:
    """Return every nameplate by its id, in the order of fleet.yaml."""
    return {str(entry["id"]): (SECTIONS[name], entry) for name, entries in sections.items() for entry in entries or ()}


class Fleet:
    """The items of fleet.yaml, each read from its raw nameplate when first needed.

    `raw`: the sections, or a call that returns them when first needed. `one`: a call that returns a single nameplate as
    long as the whole is not needed, or None where it cannot.
    """

    def __init__(
        self, raw: Sections | Callable[[], Sections] | None, one: Callable[[str], Nameplate | None] | None = None
    ) -> None:
        self._given = raw
        self._one = cache(one) if one else None
        self._items: dict[str, Item] = {}
        self._by_kind: dict[str, list[str]] = {}
        self._places: dict[str, int] = {}
        self._papers: dict[str | None, list[str]] = {}
        self._fitting: dict[str | None, list[str]] = {}

    def __reduce__(self) -> tuple[type["Fleet"], tuple[Sections]]:
        return Fleet, (self.sections,)

    @cached_property
    def sections(self) -> Sections:
        """The contents of fleet.yaml, by section."""
        return (self._given() if callable(self._given) else self._given) or {}

    @cached_property
    def _raw(self) -> dict[str, Nameplate]:
        self._one = None
        return nameplates(self.sections)

    def _find(self, item: str) -> Nameplate | None:
        found = self._one(item) if self._one else None
        return found or self._raw.get(item)

    def __contains__(self, item: str) -> bool:
        return self._find(item) is not None

    def __iter__(self) -> Iterator[Item]:
        return (self[item] for item in self._raw)

    def __getitem__(self, item: str) -> Item:
        if item not in self._items:
            self._items[item] = make_item(*self._there(item))
        return self._items[item]

    def _there(self, item: str) -> Nameplate:
        found = self._find(item)
        if found is None:
            raise KeyError(item)
        return found

    def one(self, item: str, name: str) -> Any:
        """Return one field of an item's nameplate, None if its kind lacks it.

        This is quicker than reading the whole nameplate.
        """
        kind, raw = self._there(item)
        plate = fields(kind).get(name)
        return None if plate is None else _read(plate, name, raw)

    def get(self, item: str) -> Item | None:
        """Return the item of that id, or None."""
        return self[item] if self._find(item) else None

    def raw(self, item: str) -> dict[str, object]:
        """Return the nameplate of an item as fleet.yaml has it."""
        return self._there(item)[1]

    def ids(self, *kinds: str) -> list[str]:
        """Return the ids of all items, or of some kinds, in the order of fleet.yaml."""
        if not kinds:
            return list(self._raw)
        if not self._by_kind:
            for item, (kind, _) in self._raw.items():
                self._by_kind.setdefault(kind, []).append(item)
        found = [item for kind in kinds for item in self._by_kind.get(kind, ())]
        return found if len(kinds) == 1 else self.in_order(found)

    def in_order(self, items: Iterable[str]) -> list[str]:
        """Return some ids once each in the order of fleet.yaml, those not in it last."""
        found = list(dict.fromkeys(items))
        return sorted(found, key=self.place) if len(found) > 1 else found

    def place(self, item: str) -> int:
        """Return the place of an item in fleet.yaml; after all others if not in it."""
        if not self._places:
            self._places = {item: place for place, item in enumerate(self._raw)}
        return self._places.get(item, len(self._places))

    def fitting(self, aircraft: str | None) -> list[str]:
        """Return the ids of the items whose nameplate names an aircraft, in file order.

        For None, those that name no aircraft.
        """
        if not self._fitting:
            for item, (_, raw) in self._raw.items():
                for craft in raw.get("fits") or (None,):  # type: ignore[attr-defined]
                    self._fitting.setdefault(craft, []).append(item)
        return self._fitting.get(aircraft, [])

    def papers_of(self, aircraft: str | None) -> list[str]:
        """Return the ids of an aircraft's papers, or for None those of no aircraft."""
        if not self._papers:
            for paper in self.ids("paper"):
                owner = str(self._raw[paper][1].get("of"))
                self._papers.setdefault(owner if self.kind(owner) == "aircraft" else None, []).append(paper)
        return self._papers.get(aircraft, [])

    def kind(self, item: str) -> str | None:
        """Return the kind of an item, or None for an unknown id."""
        found = self._find(item)
        return found[0] if found else None
