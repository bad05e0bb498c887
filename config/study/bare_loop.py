"""The plain way to send what lies ready: ``python -m config.study.bare_loop PORT SENDER FILE``.

FILE holds [[recipient, bytes], …]. Says ``ready`` once connected, sends when told anything, then says ``done``.
"""

from __future__ import annotations

import json
import smtplib
import sys
from pathlib import Path


def main(port: int, sender: str, path: Path) -> None:
    parcels = [(to, content.encode("ascii")) for to, content in json.loads(path.read_text())]
    with smtplib.SMTP("127.0.0.1", port, timeout=60) as connection:
        connection.ehlo()
        _say("ready")
        sys.stdin.readline()
        for to, content in parcels:
            connection.sendmail(sender, [to], content)
        _say("done")


def _say(word: str) -> None:
    sys.stdout.write(word + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2], Path(sys.argv[3]))
