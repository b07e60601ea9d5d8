"""Where the files that ship with the package lie: the rules with their schemas, and the systemd units."""

from pathlib import Path
from typing import Literal

_PACKAGE = Path(__file__).resolve().parent


def folder(name: Literal["rules", "systemd"]) -> Path:
    """The folder of the shipped files of that name.

    A wheel carries it inside the package, a checkout (or an editable install of one) at its top level.
    Raises FileNotFoundError, naming both places, when it is in neither: the installation is damaged.
    """
    places = (_PACKAGE / name, _PACKAGE.parent / name)
    for place in places:
        if place.is_dir():
            return place
    raise FileNotFoundError(f"no folder of shipped {name}: looked in {' and '.join(map(str, places))}")
