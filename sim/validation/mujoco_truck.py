"""The truck's tree of bodies on a height field, as MuJoCo reads them; what touches it is added by the caller."""

from __future__ import annotations

from xml.etree.ElementTree import Element, SubElement

import numpy as np
from numpy.typing import NDArray

from models.massprops import GRAVITY
from models.rigid import RigidModel
from terrain.heightfield import Heightfield

Array = NDArray[np.float64]
FLATTEST = 1.0e-3
"""m; MuJoCo's heights are shares of a span that may not be zero."""
MET = {"contype": "0", "conaffinity": "1"}
MEETS = {"mass": "0", "contype": "1", "conaffinity": "0"}
"""Parts of the truck meet the ground and not each other; bodies bring their own masses."""


def written(
    model: RigidModel, ground: Heightfield, step: float, contact: dict[str, str], tile: int | None = None, **option: str
) -> tuple[Element, list[Element]]:
    """Document with ground and jointed bodies, and the bodies' elements in our order.

    :param step: s.
    :param contact: Attributes of the ground's contact.
    :param tile: Cells along x of each height field that the ground is laid out in; left out, it is one.
    :param option: Attributes of MuJoCo's ``option``.
    """
    root = Element("mujoco")
    SubElement(root, "compiler", angle="radian", autolimits="true", balanceinertia="false")
    SubElement(root, "option", option, timestep=repr(step), gravity=f"0 0 {-GRAVITY!r}")
    asset, world = SubElement(root, "asset"), SubElement(root, "worldbody")
    spacing, low = ground.spacing, float(ground.z.min())
    half_y = 0.5 * (ground.z.shape[1] - 1) * spacing
    for k, part in enumerate(_tiles(ground, tile)):
        half_x = 0.5 * (len(part) - 1) * spacing
        SubElement(asset, "hfield", name=f"ground {k}", nrow=str(part.shape[1]), ncol=str(len(part)),
                   size=f"{half_x!r} {half_y!r} {_span(ground)!r} 0.05")
        middle = ground.origin[0] + k * (tile or 0) * spacing + half_x, ground.origin[1] + half_y
        SubElement(world, "geom", contact | MET, name=f"ground {k}", type="hfield", hfield=f"ground {k}",
                   pos=f"{middle[0]!r} {middle[1]!r} {low!r}")
    nodes: list[Element] = []
    for body in model.bodies:
        node = SubElement(world if body.parent < 0 else nodes[body.parent], "body", name=body.name, pos=row(body.p_PJ))
        nodes.append(node)
        i = body.I_BBcm
        SubElement(node, "inertial", pos=row(body.p_BBcm), mass=repr(body.mass),
                   fullinertia=row([i[0, 0], i[1, 1], i[2, 2], i[0, 1], i[0, 2], i[1, 2]]))
        if body.parent < 0:
            SubElement(node, "freejoint")
        else:
            kind = "hinge" if body.joint == "revolute" else "slide"
            SubElement(node, "joint", name=body.name, type=kind, axis=row(body.axis))
    return root, nodes


def heights(ground: Heightfield, tile: int | None = None) -> Array:
    """The ground's heights as MuJoCo keeps them: shares of the span, tile by tile, along y first."""
    low, span = ground.z.min(), _span(ground)
    return np.concatenate([((part.T - low) / span).ravel() for part in _tiles(ground, tile)])


def _tiles(ground: Heightfield, tile: int | None) -> list[Array]:
    """Rows of nodes of each tile; neighbours share the row where they meet."""
    cells = len(ground.z) - 1
    return [ground.z[k : k + (tile or cells) + 1] for k in range(0, cells, tile or cells)]


def row(values: object) -> str:
    """Numbers as an attribute."""
    return " ".join(repr(float(v)) for v in np.asarray(values).ravel())


def _span(ground: Heightfield) -> float:
    return max(float(ground.z.max() - ground.z.min()), FLATTEST)
