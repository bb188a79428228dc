"""The web server as ``serve`` starts it, forked from a process that has loaded it once already.

``python -m tests.bench.forked``: for every port number on a line of its input it starts a server
of its own process group and prints the number of that group. Killing a server a hundred times
then costs a hundred forks and not a hundred start-ups.
"""

from __future__ import annotations

import os
import signal
import sys

import tooling.wsgi  # noqa: F401 (loaded once, before the forks)
from tooling.management.serving import web_command


def main() -> int:
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    print("loaded", flush=True)
    for line in sys.stdin:
        server = os.fork()
        if server == 0:
            _serve(int(line))
        print(server, flush=True)
    return 0


def _serve(port: int) -> None:
    os.setsid()
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    from gunicorn.app.wsgiapp import WSGIApplication  # noqa: PLC0415 (in the server alone)

    sys.stdin.close()
    sys.argv = ["gunicorn", *web_command("127.0.0.1", port, 2, https=False)[3:]]
    WSGIApplication("%(prog)s").run()


if __name__ == "__main__":
    sys.exit(main())
