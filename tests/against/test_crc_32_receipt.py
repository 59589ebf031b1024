"""The check sum of a receipt against CRC-32 of ITU-T V.42: reflected polynomial EDB88320.

Its check value is CBF43926 for the nine letters "123456789" (as printed in catalogues of CRCs).
A checksum of 32 bits finds every burst of up to 32 bits.
"""

import random
import zlib

from greaseroute.ledger.receipt import find_receipt, receipt_text
from tests.ledger.test_receipt import plan_of, read_receipt, some_ticks, told_of


def crc_32(data):
    """Bit by bit, as the standard describes it."""
    crc = 0xFFFFFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0xEDB88320 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF


def test_the_check_value():
    assert crc_32(b"123456789") == zlib.crc32(b"123456789") == 0xCBF43926


def test_a_receipt_with_any_one_letter_changed_is_not_taken():
    plan = plan_of([(3, 1), (2, 0)])
    ticked = some_ticks(random.Random(3), 6, 2)
    text = receipt_text(told_of(plan, ticked, minutes=[4, 9], meters=[None, (12.5, False)]))
    good, faults = read_receipt(text, "text", lambda _: plan)
    assert (faults, good is None) == ([], False)
    body = find_receipt(text)
    letters, refused = sorted(set(body)), 0
    for place in range(len(body)):
        other = letters[(letters.index(body[place]) + 1) % len(letters)]
        changed = body[:place] + other + body[place + 1 :]
        report, faults = read_receipt(changed, "text", lambda _: plan)
        # The last letter has bits that carry nothing: changed there, it tells the same.
        assert (report is None, len(faults)) == (True, 1) or report == good
        refused += report is None
    assert refused >= len(body) - 2
