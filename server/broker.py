"""The embedded broker of the demo, as a process of its own: `python -m server.broker --port N`.

It keeps everything in memory and asks for no password, so it listens to this machine only. A real rig uses Mosquitto.
"""

import importlib
import signal

import click

HOST = "127.0.0.1"


@click.command()
@click.option("--port", type=click.IntRange(1, 65535), required=True)
def main(port: int) -> None:
    """Run the broker until a signal ends it."""
    try:
        iotcore = importlib.import_module("iotcore")
    except ImportError as error:
        raise SystemExit("the demo needs the package iotcore: pip install 'calmpass[demo]'") from error

    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    iotcore.IotCoreBroker(listen=HOST, port=port).run_forever()


if __name__ == "__main__":
    main()
