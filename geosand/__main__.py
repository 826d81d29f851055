"""``python -m geosand`` is the command ``geosand``."""

from geosand.cli import main

main()
