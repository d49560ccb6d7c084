"""Print what X-ray pictures cost on this machine: `python -m tests.benchmarks.xray_cost [PLOT.png]`.

Processor beside graphics card (VTK blending) and beside embree; cost against triangles and against pixels;
one live frame with tools. Times are wall clock, best of several.
"""

import sys
import time

import numpy as np
import trimesh

from meshes.anatomy import build_anatomy
from trainer.physics.lead_properties import LeadProperties
from trainer.physics.needle import Needle
from trainer.physics.xray_carm import CArm, isocentre_at
from trainer.physics.xray_choice import choose_rasteriser
from trainer.physics.xray_picture import PictureChain
from trainer.physics.xray_raster import path_attenuation
from trainer.physics.xray_scene import scene_of, still_surfaces, tool_surfaces
from trainer.physics.xray_surfaces import Surfaces

ROUNDS = 5
PIXELS = (256, 512, 768, 1024)


def best(work, rounds=ROUNDS):
    """Return the shortest wall time of a call. [ms]"""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return 1e3 * min(times)


def by_triangles(carm):
    """Return [(triangles, ms)] of one sphere, ever finer."""
    found = []
    for subdivisions in (5, 6, 7, 8):
        ball = trimesh.creation.icosphere(subdivisions=subdivisions, radius=80.0)
        surfaces = Surfaces(ball.vertices + carm.isocentre, ball.faces, 0.02)
        found.append((len(ball.faces), best(lambda s=surfaces: path_attenuation(s, carm))))
    return found


def by_pixels(surfaces, carm):
    """Return [(pixels, ms)] of the whole scene."""
    found = []
    for side in PIXELS:
        other = carm.with_changes(pixels=side)
        found.append((side * side, best(lambda c=other: path_attenuation(surfaces, c))))
    return found


def embree_ratio(anatomy, carm):
    """Return (ms of embree, ms of the rasteriser) for one bone at 128 x 128 rays."""
    vertices, faces = anatomy.bone_meshes["T12"]
    small = carm.with_changes(pixels=128)
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    rays = small.rays().reshape(-1, 3)
    starts = np.broadcast_to(small.source, rays.shape)
    cast = best(
        lambda: mesh.ray.intersects_id(starts, rays, multiple_hits=True, return_locations=True), rounds=3
    )
    return cast, best(lambda: path_attenuation(Surfaces(vertices, faces, 1.0), small))


def tools_in(anatomy):
    canal = anatomy.canal
    u = np.linspace(canal.station("L1"), canal.station("T8"), 120)
    nodes = canal.to_world(u, np.zeros(120), np.full(120, 6.0))
    needle = (nodes[0], np.array([0.1, -0.6, 0.8]), Needle())
    return tool_surfaces(needles=[needle], leads=[(nodes, LeadProperties())])


def live_frame(anatomy, carm):
    """Return ms of one live frame with needle and lead: tools drawn, noise, filter, display, marks."""
    chain, tools, rng = PictureChain(scene_of(anatomy)), tools_in(anatomy), np.random.default_rng(0)
    frame = chain.live(carm, tools, rng=rng)
    return best(lambda: chain.live(carm, tools, rng=rng, before=frame.screen), rounds=20)


def plot(path, triangles, pixels):
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8, 3.5), layout="constrained")
    for axes, pairs, what in zip(figure.subplots(1, 2), (triangles, pixels), ("triangles", "pixels")):
        x, y = np.array(pairs).T
        axes.loglog(x, y, "o-", label="measured")
        axes.loglog(x, y[-1] * x / x[-1], "--", label="linear")
        axes.set(xlabel=what, ylabel="new pose [ms]")
        axes.legend()
    figure.savefig(path)


def main():
    anatomy = build_anatomy()
    surfaces = still_surfaces(anatomy)
    carm = CArm(isocentre_at(anatomy, "T11"), 0.3, 0.1)
    triangles, pixels = by_triangles(carm), by_pixels(surfaces, carm)
    print("triangles, ms at 512:", ", ".join(f"{n} {ms:.1f}" for n, ms in triangles))
    print(f"pixels, ms with {len(surfaces.faces)} triangles:", ", ".join(f"{n} {ms:.1f}" for n, ms in pixels))
    cast, raster = embree_ratio(anatomy, carm)
    print(f"one bone, 128 x 128 rays: embree {cast:.1f} ms, rasteriser {raster:.2f} ms")
    for side in (512, 1024):
        pose = carm.with_changes(pixels=side)
        choice = choose_rasteriser(surfaces, pose, repeats=ROUNDS)
        chosen = "processor" if choice.rasterise is path_attenuation else "card"
        print(
            f"new pose {side} x {side}: processor {1e3 * choice.processor_seconds:.1f} ms, "
            f"card {1e3 * choice.graphics_seconds:.1f} ms, rms {choice.difference:.1e}, chosen: {chosen}; "
            f"{choice.card}"
        )
        print(f"live frame {side} x {side} with tools: {live_frame(anatomy, pose):.1f} ms")
    if len(sys.argv) > 1:
        plot(sys.argv[1], triangles, pixels)


if __name__ == "__main__":
    main()
