"""A socket to listen on, taken before anything is said about it."""

import socket

from compare.desk.desk_errors import DeskError


def listening(port: int, host: str) -> socket.socket:
    """Return a socket bound to a port of one of this machine's addresses; 0 = any port that is free.

    Raises
    ------
    DeskError : the port or the address cannot be used.
    """
    out = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        out.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        out.bind((host, port))
    except (OSError, OverflowError) as err:
        out.close()
        why = getattr(err, "strerror", None) or err
        raise DeskError(f"port {port} cannot be used: {why}; leave it out, or give another") from None
    return out
