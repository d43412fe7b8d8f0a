"""windwatch: wind warnings for the small airfield.

From a public weather report to a warning that somebody on the apron can act on.
"""

__version__ = "0.1.0"
