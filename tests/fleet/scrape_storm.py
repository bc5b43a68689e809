"""A process of its own: scrapes an address so many times a second for so many seconds, and
prints how many answers it got."""

from __future__ import annotations

import socket
import sys
import threading
import time

REQUEST = (
    b"GET /metrics HTTP/1.1\r\nHost: 127.0.0.1\r\nAccept-Encoding: gzip\r\n"
    b"Accept: application/openmetrics-text;version=1.0.0\r\n\r\n"
)
SCRAPERS = 4


def main() -> None:
    """Arguments: host:port, scrapes a second, seconds."""
    host, _, port = sys.argv[1].partition(":")
    each, seconds = float(sys.argv[2]) / SCRAPERS, float(sys.argv[3])
    counts = [0] * SCRAPERS
    until = time.monotonic() + seconds

    def scrape(scraper: int) -> None:
        due = time.monotonic()
        while (now := time.monotonic()) < until:
            if now < due:
                time.sleep(due - now)
            due += 1 / each
            with socket.create_connection((host, int(port)), 5) as connection:
                connection.sendall(REQUEST)
                received = connection.recv(1 << 16)
                while more := connection.recv(1 << 16):
                    received += more
            counts[scraper] += received.startswith(b"HTTP/1.0 200")

    threads = [threading.Thread(target=scrape, args=(number,)) for number in range(SCRAPERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    print(sum(counts))


if __name__ == "__main__":
    main()
