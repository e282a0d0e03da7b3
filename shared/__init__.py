"""The words every part of Chiller Diagnose uses: quantity kinds, units, readings, errors."""
