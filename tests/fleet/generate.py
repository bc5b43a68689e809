"""`cd tests && python -m fleet.generate` writes what is shipped for Prometheus and Grafana."""

from __future__ import annotations

from fleet.shipped import FOLDER, shipped


def main() -> None:
    """Write every file anew."""
    for name, text in shipped().items():
        target = FOLDER / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
