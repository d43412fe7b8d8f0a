"""``python -m windwatch``: the same as ``windwatch``."""

from windwatch.cli.main import main

main(prog_name="windwatch")
