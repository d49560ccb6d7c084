"""The report of an attempt for the printer: score, criteria with their sources, pictures, cautions."""

import io
from pathlib import Path

import matplotlib
from fpdf import FPDF
from fpdf.enums import XPos, YPos

from meshes.whole_files import whole_file
from trainer import __version__
from trainer.physics.xray_picture import png_bytes
from trainer.records.key_moments import moment_views
from trainer.records.report import CAUTION, LIMITS
from trainer.records.way_in import ideal_corridor, way_in
from trainer.scoring.log import Log
from trainer.scoring.score import score_attempt
from trainer.scoring.words import advice, found_words, kind_of, verdict_words

FILE = "report.pdf"
FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
MARGIN, LINE = 16.0, 5.2  # [mm]
INK, GREY, PASS, FAIL = (27, 36, 41), (95, 108, 116), (31, 122, 92), (179, 71, 31)
COLUMNS = (66.0, 24.0, 34.0, 22.0, 32.0)


class _Sheet(FPDF):
    """A4 with the caution at the foot of every page."""

    def __init__(self):
        super().__init__(format="A4")
        self.set_margin(MARGIN)
        self.set_auto_page_break(True, margin=24.0)
        self.add_font("DejaVu", "", str(FONTS / "DejaVuSans.ttf"))
        self.add_font("DejaVu", "B", str(FONTS / "DejaVuSans-Bold.ttf"))

    def footer(self):
        self.set_y(-20.0)
        self.say(f"{CAUTION} Program version {__version__}, page {self.page_no()}.", size=7, ink=GREY)

    def say(self, text, *, size=9, bold=False, ink=INK, after=0.0):
        """Write a paragraph."""
        self.set_font("DejaVu", "B" if bold else "", size)
        self.set_text_color(*ink)
        self.multi_cell(0, size * 0.5, text, new_x=XPos.LMARGIN, new_y=YPos.NEXT, align="L")
        self.ln(after)


def report_pdf_bytes(attempt, score=None):
    """Return the report of an Attempt as a PDF file's bytes, scored by the case's rubric unless given."""
    score = score or score_attempt(attempt)
    sheet = _Sheet()
    sheet.set_title(f"Attempt: {score.case}")
    sheet.add_page()
    sheet.say(score.case, size=18, bold=True, after=1)
    sheet.say(attempt.scenario.patient, ink=GREY, after=3)
    _head(sheet, score)
    sheet.say("Next time", size=11, bold=True, after=1)
    for remedy in advice(score):
        sheet.say(remedy, after=1)
    sheet.ln(2)
    _criteria(sheet, score)
    log = Log.of(attempt)
    _way_in(sheet, log.last)
    for words, views in moment_views(log):
        _pictures(sheet, words, views)
    sheet.say("What this rests on", size=11, bold=True, after=1)
    sheet.say(LIMITS, ink=GREY)
    return bytes(sheet.output())


def _head(sheet, score):
    ink = PASS if score.passed else FAIL
    sheet.say(f"{score.percent:.0f} of 100, {verdict_words(score)}", size=14, bold=True, ink=ink, after=1)
    rubric = f"Rubric {score.rubric}, version {score.rubric_version}; pass mark {score.pass_percent:.0f}."
    counted = f"{score.mode.capitalize()}, {score.events} acts, {score.undone} taken back."
    sheet.say(f"{rubric} {counted}", ink=GREY, after=3)


def _criteria(sheet, score):
    sheet.say("Criteria", size=11, bold=True, after=1)
    sheet.set_font("DejaVu", "", 7.5)
    sheet.set_text_color(*INK)
    look = {"line_height": 4.2, "borders_layout": "HORIZONTAL_LINES", "text_align": "LEFT", "v_align": "TOP"}
    with sheet.table(col_widths=COLUMNS, **look) as rows:
        rows.row(("Criterion", "Found", "Asked", "Points", "Source"))
        for item in score.items:
            mark = "*" if item.critical else ""
            points = f"{item.earned:.1f} of {item.points:g}"
            remedy = f"\n{item.remedy}" if kind_of(item) != "met" else ""
            rows.row((f"{item.title}{mark}{remedy}", found_words(item), item.asked, points, item.status))
    sheet.ln(1)
    sheet.say("* fails the attempt if it earns nothing.", size=7, ink=GREY, after=3)


def _way_in(sheet, state):
    hull = ideal_corridor(state)
    sheet.add_page()
    sheet.say("Way in", size=11, bold=True, after=1)
    sheet.image(
        io.BytesIO(way_in(state, hull)), w=sheet.epw, alt_text="Bones, ideal corridor, needle and lead"
    )
    words = "Green: the hull of the needles that get through and serve the lead. " if hull is not None else ""
    sheet.say(f"{words}Dark: the needle. Yellow: the lead.", size=7, ink=GREY, after=3)


def _pictures(sheet, words, views):
    wide = (sheet.epw - 4.0 * (len(views) - 1)) / len(views)
    if sheet.get_y() + wide + 14.0 > sheet.page_break_trigger:
        sheet.add_page()
    sheet.say(words, size=11, bold=True, after=1)
    top = sheet.get_y()
    for index, (name, picture) in enumerate(views):
        left = MARGIN + index * (wide + 4.0)
        sheet.image(io.BytesIO(png_bytes(picture)), x=left, y=top, w=wide, alt_text=name)
        sheet.set_xy(left, top + wide + 0.5)
        sheet.set_font("DejaVu", "", 7)
        sheet.cell(wide, 4.0, name)
    sheet.set_xy(MARGIN, top + wide + 7.0)


def write_report_pdf(folder, attempt, score=None):
    """Write `report.pdf` into a folder and return its path; raises OSError where it cannot be written."""
    path = Path(folder) / FILE
    with whole_file(path) as draft:
        draft.write_bytes(report_pdf_bytes(attempt, score))
    return path
