"""Where the shipped files are: the rules with their schemas, the systemd units."""

import os
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from pathlib import Path

_PACKAGE = os.path.dirname(os.path.dirname(os.path.realpath(__file__)))


def folder(name: Literal["rules", "systemd"]) -> "Path":
    """Return the folder of the shipped files of a name. Raises as `place` does."""
    from pathlib import Path

    return Path(place(name))


def place(name: Literal["rules", "systemd"]) -> str:
    """Return the same as text, so that `log` need not load pathlib.

    A wheel carries it inside the package, a checkout (or an editable install of one) at its top level. Raises
    FileNotFoundError, naming both places, when it is in neither: the installation is damaged.
    """
    places = [os.path.join(around, name) for around in (_PACKAGE, os.path.dirname(_PACKAGE))]
    for found in places:
        if os.path.isdir(found):
            return found
    raise FileNotFoundError(f"no folder of shipped {name}: looked in {' and '.join(places)}")


def yaml_files(place: str) -> list[tuple[str, str]]:
    """Return name and place of a folder's YAML files, in order; none if unreadable."""
    try:
        names = sorted(os.listdir(place))
    except OSError:
        return []
    return [(name, os.path.join(place, name)) for name in names if name.endswith(".yaml")]
