"""shelfbell: keeps aircraft, packs, propellers, spares and papers fit to fly, and rings when one of them needs you."""

__version__ = "0.7.0"
