"""Facts of aircraft, and of the parts they carry."""

from scheduler.base.units import FLAG
from scheduler.facts.declare import AIRCRAFT, fact
from scheduler.facts.fact_store import Lifetime
from scheduler.facts.shapes import latched, passed_looks, switched
from scheduler.facts.timeline import Segment

CALIBRATED = ("imu", "compass", "gimbal", "sensors")
SHIPPED = ("airline", "freight")
"""Ways of travelling with knocks and cold that nobody watches."""
BLADE_FAULTS = frozenset(("nicked", "cracked", "bent", "loose", "missing"))


@fact("calibrated", AIRCRAFT, FLAG, "It has been calibrated at least once.", of=CALIBRATED)
def calibrated(lifetime: Lifetime, of: str) -> list[Segment]:
    """Return yes from the first calibration on record."""
    return latched([event for event in lifetime.of_kind("calibrated") if event.get("what_of") == of])


@fact("moved_since_calibrated", AIRCRAFT, FLAG,
      "It travelled by airline or freight and has not been calibrated since.", of=CALIBRATED)  # fmt: skip
def moved_since_calibrated(lifetime: Lifetime, of: str) -> list[Segment]:
    """Return yes from such a journey to the next calibration."""
    journeys = [event for event in lifetime.of_kind("moved", "received") if event.get("how") in SHIPPED]
    done = [event for event in lifetime.of_kind("calibrated") if event.get("what_of") == of]
    return switched(lifetime, on=journeys, off=done)


@fact("damaged", ("propellers",), FLAG,
      "A blade was found nicked, cracked, bent, loose or missing; the set has not been replaced since.")  # fmt: skip
def damaged(lifetime: Lifetime) -> list[Segment]:
    """Latch at a finding: a blade is replaced, not mended."""
    return latched([e for e in lifetime.of_kind("inspected", "noticed") if BLADE_FAULTS & set(e.get("findings", ()))])


@fact("test_flight_due", AIRCRAFT, FLAG, "It was repaired or updated and has made no test flight since.", partial=True)
def test_flight_due(lifetime: Lifetime, starting_at: int) -> list[Segment]:
    """Return yes from repaired or updated to a flight with purpose test."""
    tests = [event for event in lifetime.of_kind("flown") if event.get("purpose") == "test"]
    return switched(lifetime, on=lifetime.of_kind("repaired", "updated"), off=tests, starting_at=starting_at)


@fact("warning_open", AIRCRAFT, FLAG, "It gave a warning and has not passed a look since.")
def warning_open(lifetime: Lifetime) -> list[Segment]:
    """Return yes from warned to a look that passed."""
    return switched(lifetime, on=lifetime.of_kind("warned"), off=passed_looks(lifetime))
