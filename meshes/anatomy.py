"""The frozen whole of one patient that everyone else reads: bones, poses, canal, soft tissue."""

from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from meshes import cache
from meshes.bones import PITCH, build_bones
from meshes.canal_build import build_chart
from meshes.curve import level_poses
from meshes.disc import disc_meshes
from meshes.distance import pack_bones
from meshes.flavum import flavum_meshes
from meshes.implants import implant_meshes
from meshes.joint_carving import settled
from meshes.landmarks import landmarks
from meshes.ligaments import ligament_meshes
from meshes.muscle import muscle_meshes
from meshes.neuraxis import cord_mesh, dura_mesh
from meshes.obstacles import obstacle_grids, pack_obstacles
from meshes.parameters import SHAPE, SpineParameters, shape_facts
from meshes.pelvis import pelvis_meshes
from meshes.rib import rib_shells
from meshes.roots import root_meshes
from meshes.soft_parts import kept_soft_parts
from meshes.soft_tissue import build_soft_tissue

NEEDS_NEW_BONES = (*SHAPE, "stature_scale")


@dataclass(frozen=True, eq=False)
class Anatomy:
    """One patient. Nothing in it changes; what is asked for first is computed then and kept.

    Parameters
    ----------
    parameters : SpineParameters
    bones : dict
        {level: Bone}, each in its own frame.
    poses : dict
        {level: Pose}, from the bone's frame to the patient's.
    uncarved : dict or None
        {level: Bone} before neighbours gave way to each other in these poses; None where that is `bones`.
    kept : Path or None
        Where canal and tissue lie on disk; None for while a slider moves.
    """

    parameters: SpineParameters
    bones: dict
    poses: dict
    uncarved: dict | None = None
    kept: Path | None = None

    @cached_property
    def packed(self):
        """PackedBones of the whole column, T6 to S1, in these poses."""
        return pack_bones(self.bones, self.poses)

    @cached_property
    def obstacles(self):
        """PackedBones of all that stops a needle: bones first, then implants and hardened ligaments.

        Use it in place of `packed` wherever something hard is meant: the same kernels read it. Rows 0 to 12
        are those of `packed`; further rows are named in `levels` by their words ("the left L4 pedicle
        screw"), `beside` and `level_of` tell the vertebra that holds them, `obstacle(index)` the words. In
        a body without any it is `packed` itself.
        """
        return pack_obstacles(self.packed, obstacle_grids(self))

    @cached_property
    def canal(self):
        """CanalChart."""
        if self.kept:
            return self._soft_parts[0]
        return build_chart(self.bones, self.poses, self.parameters, packed=self.packed)

    @cached_property
    def tissue(self):
        """SoftTissue."""
        if self.kept:
            return self._soft_parts[1]
        return build_soft_tissue(
            self.parameters, bones=self.bones, poses=self.poses, packed=self.packed, canal=self.canal
        )

    @cached_property
    def _soft_parts(self):
        return kept_soft_parts(
            self.kept, parameters=self.parameters, bones=self.bones, poses=self.poses, packed=self.packed
        )

    @cached_property
    def bone_meshes(self):
        """{level: (vertices, faces)} in the patient's frame. [mm]"""
        return {
            level: (self.poses[level].apply(bone.vertices), bone.faces) for level, bone in self.bones.items()
        }

    @cached_property
    def flava(self):
        """{interspace: (vertices, faces)}. [mm]"""
        return flavum_meshes(self)

    @cached_property
    def discs(self):
        """{interspace: (vertices, faces)}. [mm]"""
        return disc_meshes(self)

    @cached_property
    def dura(self):
        """{'dura': (vertices, faces)}. [mm]"""
        return {"dura": dura_mesh(self.canal)}

    @cached_property
    def cord(self):
        """{'cord': (vertices, faces)}. [mm]"""
        return {"cord": cord_mesh(self.canal)}

    @cached_property
    def landmarks(self):
        """What is counted and aimed at, as data; see `meshes.landmarks`."""
        return landmarks(self)

    @cached_property
    def ligaments(self):
        """{name: (vertices, faces)} of the supraspinous and interspinous ligaments. [mm]"""
        return ligament_meshes(self)

    @cached_property
    def muscles(self):
        """{name: (vertices, faces)} of the muscle beside the spine. [mm]"""
        return muscle_meshes(self)

    @cached_property
    def roots(self):
        """{name: (vertices, faces)} of the roots that leave at the foramina. [mm]"""
        return root_meshes(self)

    @cached_property
    def implants(self):
        """{name: (vertices, faces)} of screws, rods, spacers and cement; empty without them. [mm]"""
        return implant_meshes(self)

    @cached_property
    def pelvis(self):
        """{'ilium left': (vertices, faces), 'ilium right': ...}. [mm]"""
        return pelvis_meshes(self)

    @cached_property
    def ribs(self):
        """What `meshes.rib.rib_shells` returns. [mm]"""
        return rib_shells(self)

    def with_pose(self, **changes):
        """Return the same bones in another posture or with other soft tissue, for while a slider moves.

        Bones move as they are: in a strong posture neighbours can overlap until `settled`.

        Raises
        ------
        ValueError
            If a change would need other bones.
        """
        parameters = self.parameters.with_changes(**changes)
        refused = sorted(set(changes) & set(NEEDS_NEW_BONES))
        if shape_facts(parameters) != shape_facts(self.parameters):
            refused = refused or sorted(changes)
        if refused:
            raise ValueError(
                f"changes must leave {', '.join(NEEDS_NEW_BONES)} alone, got {', '.join(refused)}: "
                "call build_anatomy with the new parameters"
            )
        return Anatomy(parameters, self.uncarved or self.bones, level_poses(parameters))

    def settled(self):
        """Return the Anatomy in which neighbouring bones have given way to each other in this posture.

        It is what `build_anatomy` returns; where no two bones come too near, it is this one.
        """
        if self.uncarved is not None:
            return self
        facts = (shape_facts(self.parameters), self.parameters.stature_scale)
        bones = settled(self.bones, self.poses, facts=facts)
        return self if bones is self.bones else Anatomy(self.parameters, bones, self.poses, self.bones)


def build_anatomy(parameters=SpineParameters(), *, pitch=PITCH, progress=None):  # noqa: B008 - frozen
    """Return the Anatomy of a spine; what was built before comes from disk.

    No two neighbouring bones overlap, whatever the posture.

    Parameters
    ----------
    parameters : SpineParameters
    pitch : float
        Spacing of fields and grids; 1.4 is three times as fast, for while a slider of the shape moves. [mm]
    progress : callable or None
        Called as progress(done, total, words) while bones are built.

    Raises
    ------
    ValueError
        If `pitch` lies outside 0.4 to 1.6 mm.
    """
    bones = build_bones(parameters, pitch=pitch, progress=progress)
    settled_bones = Anatomy(parameters, bones, level_poses(parameters)).settled()
    return replace(settled_bones, kept=cache.entry("soft", parameters, pitch))
