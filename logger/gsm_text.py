"""What fits into a text message: the GSM default alphabet or UCS-2, and texts cut to the length of one message.

160 characters of the default alphabet, else 70 of UCS-2 (3GPP TS 23.038). Characters of the extension table need an escape that
AT text mode would take for 'abort', so they go as UCS-2.
Flow: sms.py, modem.py -> HERE. Never: a port.
"""

GSM_CHARACTERS, UCS2_CHARACTERS = 160, 70
PARTS_MAX = 3

_TABLE = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\x1bÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
"""The default alphabet in the order of its codes, 0 to 127 (3GPP TS 23.038, section 6.2.1)."""

_CODE = {character: code for code, character in enumerate(_TABLE) if character not in "\x1b\r"}


def in_gsm(text: str) -> bool:
    """Can the default alphabet say it?"""
    return all(character in _CODE for character in text)


def to_gsm(text: str) -> bytes:
    """One byte a character, its code. KeyError: not in the alphabet."""
    return bytes(_CODE[character] for character in text)


def from_gsm(content: bytes) -> str:
    """Back from `to_gsm`; a byte that is no code becomes '?'."""
    return "".join(_TABLE[code] if code < len(_TABLE) else "?" for code in content)


def to_ucs2(text: str) -> str:
    """UCS-2 as the hex digits that a modem takes; a character beyond it becomes '?'."""
    return (
        "".join(character if ord(character) < 0x10000 else "?" for character in text).encode("utf-16-be").hex().upper()
    )


def from_ucs2(digits: str) -> str:
    """Back from `to_ucs2`. ValueError: no such digits."""
    return bytes.fromhex(digits).decode("utf-16-be", "replace")


def parts(text: str) -> list[str]:
    """The text in messages of their own, cut between words, numbered where there are several; at most PARTS_MAX."""
    room = GSM_CHARACTERS if in_gsm(text) else UCS2_CHARACTERS
    if len(text) <= room:
        return [text]
    room -= len(" (1/3)")
    made: list[str] = []
    line = ""
    for word in text.split():
        while len(word) > room:
            word, rest = word[:room], word[room:]
            made, line = [*made, line, word] if line else [*made, word], ""
            word = rest
        if line and len(line) + 1 + len(word) > room:
            made, line = [*made, line], word
        else:
            line = f"{line} {word}" if line else word
    made = [*made, line] if line else made
    kept = made[:PARTS_MAX]
    return [f"{one} ({place}/{len(kept)})" for place, one in enumerate(kept, 1)]
