"""The frozen outside figures in fixtures/, each made by the script make_NAME.py beside it."""

import json
from functools import cache
from pathlib import Path
from typing import Any

FIXTURES = Path(__file__).parent / "fixtures"


@cache
def frozen(name: str) -> Any:
    return json.loads((FIXTURES / f"{name}.json").read_text())
