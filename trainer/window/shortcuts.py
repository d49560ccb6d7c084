"""The one table of keys: bindings, the caps on the buttons, the key sheet and the README come from it."""

from dataclasses import dataclass

from PySide6.QtCore import Qt

EVERYWHERE = ("plan", "picture", "needle", "lead", "what next", "debrief")
WORKING = ("picture", "needle", "lead")
# After a complication the controls give way to the choices; the C-arm stays at hand.
PICTURED = (*WORKING, "what next")


@dataclass(frozen=True)
class Shortcut:
    """One key.

    Parameters
    ----------
    action : str
        What pages bind to.
    key, left_handed : str
        A letter, a digit, or one of `NAMED`; the second where the mouse lies in the left hand.
    words : str
        For the key sheet.
    pages : tuple of str
        Where it acts.
    held : bool
        Acts for as long as it is down.
    """

    action: str
    key: str
    left_handed: str
    words: str
    pages: tuple
    held: bool = False


SHORTCUTS = (
    Shortcut("advance", "up", "W", "Advance the needle or the lead", ("needle", "lead"), held=True),
    Shortcut("withdraw", "down", "S", "Withdraw the needle or the lead", ("needle", "lead"), held=True),
    Shortcut("turn left", "A", "left", "Turn the hub to the left", ("lead",), held=True),
    Shortcut("turn right", "D", "right", "Turn the hub to the right", ("lead",), held=True),
    Shortcut("entry up", "up", "W", "Entry nearer to the head", ("picture",), held=True),
    Shortcut("entry down", "down", "S", "Entry nearer to the feet", ("picture",), held=True),
    Shortcut("entry left", "left", "A", "Entry to the patient's left", ("picture",), held=True),
    Shortcut("entry right", "right", "D", "Entry to the patient's right", ("picture",), held=True),
    Shortcut("flatter", "S", "down", "Approach flatter", ("picture", "needle"), held=True),
    Shortcut("steeper", "W", "up", "Approach steeper", ("picture", "needle"), held=True),
    Shortcut("less medial", "A", "left", "Needle less to the midline", ("picture", "needle"), held=True),
    Shortcut("more medial", "D", "right", "Needle more to the midline", ("picture", "needle"), held=True),
    Shortcut("step", "X", "X", "Change the length of a step", ("needle", "lead")),
    Shortcut("brace", "B", "N", "Brace the hand against the back, or not", ("needle",)),
    Shortcut("bevel", "V", "V", "Turn the bevel by a quarter", ("needle",)),
    Shortcut("stylet", "C", "C", "Stylet in or out; change the stylet of the lead", ("needle", "lead")),
    Shortcut("press", "P", "R", "Press the plunger", ("needle",), held=True),
    Shortcut("saline", "Y", "R", "Inject saline through the needle", ("lead",)),
    Shortcut("next step", "Enter", "Enter", "The next step of the page", ("plan", *WORKING)),
    Shortcut("more", "G", "G", "What else can be done here", PICTURED),
    Shortcut("one picture", "Space", "Space", "One picture", PICTURED),
    Shortcut("live", "L", "F", "Live while held", PICTURED, held=True),
    Shortcut("square on", "1", "7", "C-arm: square on", PICTURED),
    Shortcut("side", "2", "8", "C-arm: from the side", PICTURED),
    Shortcut("oblique", "3", "9", "C-arm: oblique, from the other side than the needle", PICTURED),
    Shortcut("tilt to feet", "Q", "U", "C-arm: tilt to the feet", PICTURED, held=True),
    Shortcut("tilt to head", "E", "O", "C-arm: tilt to the head", PICTURED, held=True),
    Shortcut("swing left", "R", "Y", "C-arm: swing to the patient's left", PICTURED, held=True),
    Shortcut("swing right", "T", "P", "C-arm: swing to the patient's right", PICTURED, held=True),
    Shortcut("travel up", "Page up", "Page up", "C-arm: travel to the head", PICTURED, held=True),
    Shortcut("travel down", "Page down", "Page down", "C-arm: travel to the feet", PICTURED, held=True),
    Shortcut("mark level", "M", "M", "Mark a level on the picture", ("picture",)),
    Shortcut("undo", "Z", "Z", "Take back the last act (practice)", PICTURED),
    Shortcut("hint", "J", "J", "Say a hint (practice)", WORKING),
    Shortcut("answer 1", "4", "1", "The choice with this key", ("what next",)),
    Shortcut("answer 2", "5", "2", "The choice with this key", ("what next",)),
    Shortcut("answer 3", "6", "3", "The choice with this key", ("what next",)),
    Shortcut("answer 4", "7", "4", "The choice with this key", ("what next",)),
    Shortcut("answer 5", "8", "5", "The choice with this key", ("what next",)),
    Shortcut("play", "Space", "Space", "Play or stop the replay", ("debrief",)),
    Shortcut("last mark", "left", "left", "Go to the mark before", ("debrief",)),
    Shortcut("next mark", "right", "right", "Go to the next mark", ("debrief",)),
    Shortcut("again", "R", "R", "Try the same patient again", ("debrief",)),
    Shortcut("keys", "F1", "F1", "This sheet", EVERYWHERE),
    Shortcut("back", "Esc", "Esc", "Stop long work; leave the attempt, which is kept", EVERYWHERE),
)

NAMED = {
    "up": Qt.Key.Key_Up,
    "down": Qt.Key.Key_Down,
    "left": Qt.Key.Key_Left,
    "right": Qt.Key.Key_Right,
    "Space": Qt.Key.Key_Space,
    "Enter": Qt.Key.Key_Return,
    "Esc": Qt.Key.Key_Escape,
    "Page up": Qt.Key.Key_PageUp,
    "Page down": Qt.Key.Key_PageDown,
    "F1": Qt.Key.Key_F1,
}


def key_of(action, page, *, left_handed=False):
    """Return the cap of an action on a page; raises KeyError for an unknown one."""
    found = {s.action: s for s in SHORTCUTS if page in s.pages}[action]
    return found.left_handed if left_handed else found.key


def key_code(cap):
    """Return Qt's code of a cap."""
    return NAMED[cap] if cap in NAMED else Qt.Key[f"Key_{cap}"]


def bindings(page, *, left_handed=False):
    """Return {Qt key code: Shortcut} of a page."""
    return {key_code(s.left_handed if left_handed else s.key): s for s in SHORTCUTS if page in s.pages}


def clashes(*, left_handed=False):
    """Return (page, key, actions) wherever one key would do two things."""
    found = []
    for page in EVERYWHERE:
        by_key = {}
        for shortcut in SHORTCUTS:
            if page in shortcut.pages:
                key = shortcut.left_handed if left_handed else shortcut.key
                by_key.setdefault(key, []).append(shortcut.action)
        found += [(page, key, tuple(actions)) for key, actions in by_key.items() if len(actions) > 1]
    return found


def as_table():
    """Return the table in Markdown, as README carries it."""
    rows = ["| key | left-handed | does | where |", "|---|---|---|---|"]
    rows += [f"| {s.key} | {s.left_handed} | {s.words} | {', '.join(s.pages)} |" for s in SHORTCUTS]
    return "\n".join(rows)
