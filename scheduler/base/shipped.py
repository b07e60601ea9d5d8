"""Where the files that ship with the package lie: the rules with their schemas, and the systemd units."""

import os
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from pathlib import Path

_PACKAGE = os.path.dirname(os.path.dirname(os.path.realpath(__file__)))


def folder(name: Literal["rules", "systemd"]) -> "Path":
    """Return the folder of the shipped files of that name. Raises FileNotFoundError as `place` does."""
    from pathlib import Path

    return Path(place(name))


def place(name: Literal["rules", "systemd"]) -> str:
    """Return the same as text, which `log` has without loading pathlib.

    A wheel carries it inside the package, a checkout (or an editable install of one) at its top level.
    Raises FileNotFoundError, naming both places, when it is in neither: the installation is damaged.
    """
    places = [os.path.join(around, name) for around in (_PACKAGE, os.path.dirname(_PACKAGE))]
    for found in places:
        if os.path.isdir(found):
            return found
    raise FileNotFoundError(f"no folder of shipped {name}: looked in {' and '.join(places)}")


def yaml_files(place: str) -> list[tuple[str, str]]:
    """Return name and place of each YAML file of a folder, in order; none where it cannot be read."""
    try:
        names = sorted(os.listdir(place))
    except OSError:
        return []
    return [(name, os.path.join(place, name)) for name in names if name.endswith(".yaml")]
