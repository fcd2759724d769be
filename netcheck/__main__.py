"""`python -m netcheck`."""

from netcheck.command import main

raise SystemExit(main())
