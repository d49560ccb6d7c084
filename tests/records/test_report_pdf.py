"""The report for the printer."""

import re
import zlib

from trainer.records.report_pdf import report_pdf_bytes, write_report_pdf
from trainer.scoring.score import score_attempt
from trainer.scoring.words import advice, found_words


def test_the_report_is_a_pdf_with_pages_and_pictures(finished, tmp_path):
    score = score_attempt(finished.attempt)
    content = report_pdf_bytes(finished.attempt, score)
    assert content.startswith(b"%PDF-") and content.rstrip().endswith(b"%%EOF")
    assert len(re.findall(rb"/Subtype\s*/Image", content)) >= 10, "nine X-ray pictures and the way in"
    streams = re.findall(rb"stream\n(.*?)\nendstream", content, re.DOTALL)
    inflated = b"".join(zlib.decompress(s) for s in streams if s[:1] == b"\x78")
    assert inflated.count(b"Tj") > len(score.items)
    path = write_report_pdf(tmp_path, finished.attempt, score)
    assert path.read_bytes().startswith(b"%PDF-")


def test_advice_names_the_dearest_faults(finished):
    score = score_attempt(finished.attempt)
    told = advice(score)
    assert 1 <= len(told) <= 2
    costly = score.dearest
    if costly:
        assert told[0] == costly[0].remedy


def test_found_in_words(finished):
    words = [found_words(item) for item in score_attempt(finished.attempt).items]
    assert all(words)
    assert any(word in ("yes", "no") for word in words)
