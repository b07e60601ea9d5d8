"""Read and check the same files of a home once in each test process. Import this to switch it on.

Hundreds of tests make a home, and nearly all with the same files and the same shipped rules. Reading and checking them
took most of the time of a test.
"""

from functools import cache, lru_cache
from zoneinfo import available_timezones

from scheduler.base import strict_yaml
from scheduler.base.findings import Finding
from scheduler.base.schema_check import check
from scheduler.base.strict_yaml import YamlFile, read
from scheduler.home import file_check

_checked: dict[int, tuple[YamlFile, object, list[Finding]]] = {}


@lru_cache(128)
def _read(source: str | bytes, file: str) -> YamlFile:
    return read(source, file)


def _check(document: YamlFile, schema: dict[str, object]) -> list[Finding]:
    known, by, findings = _checked.get(id(document), (None, None, []))
    if known is not document or by != schema:
        findings = check(document, schema)
        _checked[id(document)] = document, schema, findings
    return list(findings)


assert (file_check.read, file_check.check, file_check.available_timezones) == (read, check, available_timezones)
strict_yaml.read = file_check.read = _read
file_check.check = _check
file_check.available_timezones = cache(available_timezones)
