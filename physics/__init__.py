"""Pure functions: combustion, pressures, water, conversions, and the relations that must hold between readings."""
