"""Ask the running web process once whether it is well: exit 0 if so, 1 with the reason if not.

Options: the base address (default http://127.0.0.1:LAYSHAFT_PORT) and the file of the authority to trust.
"""

import os
import ssl
import sys
import urllib.request


def health(base: str, authority: str | None = None) -> str:
    """Return the body of the health answer, or raise OSError (an answer of 400 and above is one)."""
    context = ssl.create_default_context(cafile=authority) if base.startswith("https:") else None
    # The address is the operator's own, and no proxy stands between a machine and itself.
    opener = urllib.request.build_opener(
        urllib.request.ProxyHandler({}), urllib.request.HTTPSHandler(context=context)
    )
    with opener.open(f"{base}/api/v1/health", timeout=5) as answer:
        return str(answer.read().decode())


def main(arguments: list[str]) -> int:
    """Print the answer or the reason; the exit code is what a health check looks at."""
    base = arguments[0] if arguments else f"http://127.0.0.1:{os.environ.get('LAYSHAFT_PORT', '8765')}"
    try:
        body = health(base, arguments[1] if len(arguments) > 1 else None)
    except OSError as problem:
        sys.stderr.write(f"{base}: {problem}\n")
        return 1
    sys.stdout.write(f"{body}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
