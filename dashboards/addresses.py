"""Under which address other devices reach this computer, found without asking anyone outside."""

import socket


def lan_address() -> str | None:
    """Return this computer's address on the local network, None where there is none.

    A datagram socket that is only *connected* sends nothing; it makes the kernel choose the way out and
    with it the address. Addresses set aside for documentation (RFC 5737) and a private one cover a default
    route or a bare LAN.
    """
    for target in ("192.0.2.1", "10.255.255.255", "192.168.255.255"):
        address = source_address(target)
        if address and not address.startswith("127."):
            return address
    return None


def source_address(target: str) -> str | None:
    """Return the address from which a packet to `target` would leave."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((target, 9))
            return probe.getsockname()[0]
        except OSError:
            return None
