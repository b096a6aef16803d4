"""`python -m flowrig`."""

from flowrig.cli import main

main()
