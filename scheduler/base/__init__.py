"""The ground: instants, units, findings, text, strict YAML and schema checks."""
