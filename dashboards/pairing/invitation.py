"""Invitations to pair: a QR code for the page and one for the terminal."""

import io


def qr_picture(url: str) -> str:
    """Return the QR code of `url` as an SVG element, dark on light in every colour scheme."""
    import segno

    picture = segno.make(url, error="m", micro=False).svg_inline(
        scale=6, border=4, dark="#000", light="#fff", omitsize=True, svgclass="qr", lineclass=None
    )
    return picture.replace("<svg ", '<svg aria-hidden="true" ', 1)  # the page names it in words


def terminal_invitation(url: str, code: str = "") -> str:
    """Return the text that invites a phone or tablet from the terminal.

    Parameters
    ----------
    url
        Address with a one-time token.
    code
        Short code for devices without a camera.
    """
    import segno

    drawing = io.StringIO()
    segno.make(url, error="l", micro=False).terminal(drawing, border=2, compact=True)
    lines = [
        "Pair a phone or tablet on this network: scan the code, once per device.",
        drawing.getvalue().rstrip("\n"),
        f"Or open {url.partition('/pairing')[0]}/pairing there",
    ]
    if code:
        lines[-1] += f" and enter {spaced(code)} within five minutes"
    return "\n".join(lines) + ". Later codes are on the page Pairing of this computer or a paired device."


def spaced(code: str) -> str:
    """Return a code in groups of four, as it is read aloud."""
    return " ".join(code[start : start + 4] for start in range(0, len(code), 4))
