"""Words to values: METAR, SPECI and what they say about the wind."""
