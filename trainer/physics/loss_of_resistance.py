"""Testing for loss of resistance: a syringe on a needle, pressed now and then or all the way."""

from dataclasses import dataclass

from meshes.tables.loader import number
from trainer.physics.needle_push import joined, push_needle
from trainer.physics.syringe import AIR, press

FIRM, BOUNCES, GIVES, LOST = FEELS = ("firm", "bounces", "gives", "lost")
ADVANCE = 0.2  # [mm] between two looks at the plunger under continuous pressure
SETTLE = 0.3  # [s] for which the thumb rests before a test
INJECTION_STEP, LONGEST_INJECTION = 0.02, 30.0  # [s]
STANDING = 20.0  # [mm³/s] below which nothing goes in any more
_WORDS = {
    FIRM: "the plunger stands: firm",
    BOUNCES: "the plunger bounces on the air and comes back: firm",
    GIVES: "the plunger creeps: resistance gives, but is not lost",
    LOST: "the plunger runs in by itself: resistance is lost",
}


@dataclass(frozen=True)
class LossReading:
    """What the thumb felt.

    Parameters
    ----------
    feel : str
        "firm", "bounces", "gives" or "lost".
    pressure, peak : float
        In the barrel at the end, and the highest. [MPa]
    volume : float
        That ran in. [mm³]
    rate : float
        The same in a second. [mm³/s]
    travel : float
        Of the plunger. [mm]
    """

    feel: str
    pressure: float
    peak: float
    volume: float
    rate: float
    travel: float

    @property
    def words(self):
        return _WORDS[self.feel]


def _ready(needle):
    if needle.stylet_inside:
        raise ValueError("stylet must be out before a syringe is put on, got it inside: take the stylet out")


def _felt(syringe, after, seconds, peak):
    volume = after.delivered - syringe.delivered
    rate, travel = volume / seconds, after.travel - syringe.travel
    feel = FIRM
    if rate >= number("syringe", "lost.flow"):
        feel = LOST
    elif rate >= number("syringe", "gives.flow"):
        feel = GIVES
    elif syringe.medium == AIR:
        feel = BOUNCES
    return LossReading(feel, after.pressure, peak, volume, rate, travel)


def feel_for_loss(needle, syringe, *, force=None, seconds=None):
    """Return (Syringe, LossReading) of one press while the needle stands still: intermittent pressure.

    What is read is only what the thumb feels: whether the needle lies in the epidural space is for other
    signs to say. A hollow between ligaments or a cleft in the flavum takes fluid too, until it is full;
    scar takes none though the space is there.

    Parameters
    ----------
    needle : NeedleState
        With its stylet out.
    syringe : Syringe
    force : float or None
        Of the thumb. [N]
    seconds : float or None

    Raises
    ------
    ValueError
        If the stylet is inside.
    """
    _ready(needle)
    force = number("syringe", "thumb") if force is None else force
    seconds = number("syringe", "tap") if seconds is None else seconds
    opening, before, peak = needle.opening, syringe, syringe.pressure
    for _ in range(4):
        syringe = press(syringe, force, seconds=0.25 * seconds, opening=opening)
        peak = max(peak, syringe.pressure)
    return syringe, _felt(before, syringe, seconds, peak)


def let_go(needle, syringe):
    """Return the Syringe after the thumb has rested: compressed air pushes the plunger back."""
    return press(syringe, 0.0, seconds=SETTLE, opening=needle.opening)


def inject(needle, syringe, volume, *, force=None):
    """Return (Syringe, LossReading) of pressing until a volume has gone in, or nothing goes in any more.

    Parameters
    ----------
    needle : NeedleState
        With its stylet out.
    syringe : Syringe
        Filled with at least that much.
    volume : float
        Wanted in the patient. [mm³]
    force : float or None
        Of the thumb. [N]

    Raises
    ------
    ValueError
        If the stylet is inside, or the volume is none of a syringe.
    """
    _ready(needle)
    if not 0.0 < volume <= 20000.0:
        raise ValueError(f"volume must lie between 0 and 20000 mm³, got {volume:g}: 5000 mm³ are 5 mL")
    force = number("syringe", "thumb") if force is None else force
    before, seconds, peak = syringe, 0.0, syringe.pressure
    while syringe.delivered - before.delivered < volume and seconds < LONGEST_INJECTION:
        syringe = press(syringe, force, seconds=INJECTION_STEP, opening=needle.opening)
        seconds, peak = seconds + INJECTION_STEP, max(peak, syringe.pressure)
        if seconds > number("syringe", "tap") and syringe.flow < STANDING:
            break
    return syringe, _felt(before, syringe, seconds, peak)


def advance_under_pressure(needle, syringe, millimetres, *, force=None, speed=1.0, grip=None):
    """Return (NeedleState, Syringe, LossReading) of a push with the thumb on the plunger all the while.

    The hand stops as soon as resistance gives: what the tip plunges beyond that is up to the hand's
    stiffness.

    Parameters
    ----------
    needle : NeedleState
    syringe : Syringe
    millimetres : float
        At most, of the hand. [mm]
    force : float or None
        Of the thumb; it pushes on the plunger, not on the needle. [N]
    speed : float
        Of the hand. [mm/s]
    grip : str or None

    Raises
    ------
    ValueError
        If the stylet is inside, or the push is not forward.
    """
    _ready(needle)
    if not millimetres > 0.0:
        raise ValueError(f"millimetres must be positive, got {millimetres:g}: pull back without pressure")
    force = number("syringe", "thumb") if force is None else force
    first, parts, left = needle, [], millimetres
    while left > 1e-9:
        step = min(ADVANCE, left)
        needle = push_needle(needle, step, grip=grip, speed=speed)
        parts.append(needle)
        before, seconds = syringe, step / speed
        syringe = press(syringe, force, seconds=seconds, opening=needle.opening)
        reading = _felt(before, syringe, seconds, max(before.pressure, syringe.pressure))
        left -= step
        if reading.feel in (GIVES, LOST):
            break
    return joined(first, parts), syringe, reading
