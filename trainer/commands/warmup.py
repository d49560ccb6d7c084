"""Fill the cache of compiled kernels at the first start, in two processes, with visible progress.

Each part runs the real functions once, so that every kernel is compiled for the very argument types that the
program uses. The parts share one cache folder and can be run again at any time.
"""

import os
import subprocess
import sys
import time
from contextlib import nullcontext
from pathlib import Path

from meshes.compiled import compiled_files, complete_mark, kernel_sources, remove_old

PARTS = ("geometry", "instruments")
POLL = 0.2


class WarmUpError(OSError):
    """The kernels could not be compiled."""


def is_warm():
    """Tell whether every kernel of the present sources has been compiled on this machine."""
    return complete_mark().exists()


def warm_up(report=None):
    """Compile whatever is missing; returns at once when nothing is.

    Parameters
    ----------
    report : callable, optional
        `report(done, total, words)`, which may raise to stop; a bar on standard error where None.

    Raises
    ------
    WarmUpError
        If a part fails; its own words are in the message.
    """
    if is_warm():
        return
    from trainer.commands.answers import progress

    # The very packages of this process: a copy in the present folder would fill the cache for itself.
    root = str(Path(__file__).resolve().parents[2])
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([root, os.environ.get("PYTHONPATH", "")])}
    command = [sys.executable, "-P", "-m", "trainer.commands.warmup"]
    running = [
        subprocess.Popen([*command, part], stderr=subprocess.PIPE, text=True, env=environment)
        for part in PARTS
    ]
    expected = sum(file.read_text(encoding="utf-8").count("@kernel") for file in kernel_sources())
    try:
        with nullcontext(report) if report else progress("First start: compiling") as tell:
            while any(process.poll() is None for process in running):
                tell(min(compiled_files(), expected - 1), expected, "numerical kernels, once per version")
                time.sleep(POLL)
    finally:
        # Also after Ctrl-C: nothing goes on in the background.
        words = [_ended(process) for process in running]
    for process, part, told in zip(running, PARTS, words, strict=True):
        if process.returncode != 0:
            last = told.strip().splitlines()[-1] if told.strip() else f"exit code {process.returncode}"
            raise WarmUpError(
                f"the {part} kernels must compile once before the first attempt, got {last!r}: "
                "see that the cache folder of `trainer info` can be written, and start again"
            )
    if complete_mark().parent.is_dir():
        remove_old("compiled-all-*", keep=complete_mark())
        complete_mark().touch()


def _ended(process):
    """Stop a part if it still runs; return what it said on standard error."""
    if process.poll() is None:
        process.terminate()
    return process.communicate()[1]


def geometry():
    """Build the spine of ordinary shape, which most cases share, and aim a needle at it."""
    from meshes.anatomy import build_anatomy
    from meshes.findings import LigamentCalcification
    from meshes.measure_windows import measure_window
    from meshes.units import radians
    from trainer.physics.aim import aim_at_target
    from trainer.physics.corridor import corridor
    from trainer.physics.corridor_ghost import ghost_mesh
    from trainer.physics.needle import Needle
    from trainer.physics.needle_check import check_needle
    from trainer.physics.needle_push import push_needle
    from trainer.physics.needle_scene import needle_scene
    from trainer.physics.needle_state import place_needle
    from trainer.physics.needle_turn import reangle
    from trainer.physics.plan import plan_needle
    from trainer.physics.slice_picture import cut, slice_picture
    from trainer.physics.slice_plane import axial_plane

    anatomy = build_anatomy()
    anatomy.canal.to_chart(anatomy.canal.centre[:2])
    anatomy.packed.nearest(anatomy.canal.centre[:2])
    anatomy.tissue.fascia(0.0, 0.0)
    measure_window(anatomy, "T12-L1")
    hardened = anatomy.with_pose(findings=(LigamentCalcification("T12-L1"),)).obstacles
    hardened.nearest(anatomy.canal.centre[:2])
    aim = aim_at_target(
        anatomy, "T12-L1", side="left", approach=radians(35.0), medial=radians(12.0), target_offset=3.0
    )
    check_needle(anatomy, aim, Needle())
    reangle(push_needle(place_needle(needle_scene(anatomy, rng=0), aim), 30.0), radians(1.0))
    plan_needle(anatomy, "T12-L1", side="left", needle=Needle(), largest_approach=radians(35.0))
    ghost_mesh(corridor(anatomy, "T12-L1", needle=Needle(152.0), approach=radians([35.0, 45.0])))
    slice_picture(cut(anatomy, axial_plane(anatomy, pitch=4.0)), rng=1)


def instruments():
    """Run every kernel of the lead and of the X-ray once, without a patient."""
    from meshes.units import radians
    from trainer.physics.lead import LeadProperties, Mouth, advance, insert_lead, rotate
    from trainer.physics.needle import Needle
    from trainer.physics.xray_carm import CArm
    from trainer.physics.xray_picture import film
    from trainer.physics.xray_raster import path_attenuation
    from trainer.physics.xray_scene import tool_surfaces

    lead = insert_lead(None, Mouth((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0)), LeadProperties())
    lead = rotate(advance(advance(lead, 3.0), -2.0), radians(5.0))
    tools = tool_surfaces(
        needles=[((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), Needle())], leads=[(lead.nodes, lead.properties)]
    )
    carm = CArm((0.0, 0.0, 0.0), 0.0, 0.0, pixels=32)
    film(path_attenuation(tools, carm), rng=0, carm=carm)


if __name__ == "__main__":
    {"geometry": geometry, "instruments": instruments}[sys.argv[1]]()
