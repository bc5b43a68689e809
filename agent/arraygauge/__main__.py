"""`python -m arraygauge`."""

from arraygauge.cli import main

if __name__ == "__main__":
    main()
