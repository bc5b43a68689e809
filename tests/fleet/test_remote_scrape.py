"""A real Prometheus scrapes over TLS with the password, and gets nothing without."""

from __future__ import annotations

import json
import urllib.request
from pathlib import Path
from typing import Any

from arraygauge.service.door import Door
from fleet.captured_agent import captured_agent
from fleet.programs import prometheus, require, until
from unit.service.certificates import USERNAME, exposure, make_secrets


def test_a_scraper_needs_the_name_and_the_password(tmp_path: Path) -> None:
    require("prometheus")
    make_secrets(tmp_path)
    with captured_agent(tmp_path, Door(exposure(tmp_path))) as agent:
        scraping = [
            {
                "job_name": username,
                "scrape_interval": "1s",
                "scheme": "https",
                "tls_config": {"ca_file": str(tmp_path / "cert.pem")},
                "basic_auth": {"username": username, "password_file": str(tmp_path / "password")},
                "static_configs": [{"targets": [agent.address]}],
            }
            for username in (USERNAME, "stranger")
        ]
        with prometheus(tmp_path, json.dumps({"scrape_configs": scraping})) as address:
            until(lambda: len(tried(address)) == 2, 15, "both to have scraped")
            targets = tried(address)
    assert targets[USERNAME]["health"] == "up", targets
    assert targets["stranger"]["lastError"] == "server returned HTTP status 401 Unauthorized"


def tried(address: str) -> dict[str, dict[str, Any]]:
    """By job, those that were scraped at least once."""
    with urllib.request.urlopen(f"http://{address}/api/v1/targets", timeout=5) as answer:
        targets: list[dict[str, Any]] = json.load(answer)["data"]["activeTargets"]
    return {each["labels"]["job"]: each for each in targets if each["health"] != "unknown"}
