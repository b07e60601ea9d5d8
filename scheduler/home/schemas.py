"""Write the JSON Schemas beside the rules: `python -m scheduler.home.schemas`."""

import json
from pathlib import Path

from scheduler.base.shipped import folder
from scheduler.events.validation import json_schema as events_schema
from scheduler.facts.catalogue import CATALOGUE
from scheduler.fleet.plates import json_schema as fleet_schema
from scheduler.home.file_check import settings_schema
from scheduler.verdicts.schema import rules_schema


def published() -> dict[str, str]:
    """Return the text of each schema, by file name."""
    schemas = {
        "rules": rules_schema(CATALOGUE),
        "fleet": fleet_schema(),
        "shelfbell": settings_schema(),
        "events": events_schema(),
    }
    return {f"{name}.schema.json": json.dumps(schema, indent=1) + "\n" for name, schema in schemas.items()}


def main(target: Path | None = None) -> None:
    """Write the schemas to `target`, by default beside the shipped rules."""
    target = target or folder("rules")
    for name, text in published().items():
        (target / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
