"""The calculators as people see them, one module per side of the machine."""
