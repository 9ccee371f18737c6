"""A reference by finite elements: one round cell in a square of compound, insulated outside.

Quadratic triangles of a general library (scikit-fem), the reaction at the quadrature points, one step of
Crank and Nicolson solved to the end by repetition (backward Euler at the begin). Shares nothing with the
package but the numbers that go in.
"""

import numpy as np
from scipy.sparse.linalg import splu
from skfem import Basis, BilinearForm, ElementTriP2, LinearForm, MeshTri
from skfem.helpers import dot, grad

R = 8.31446261815324


def quarter_mesh(radius, half, around=12, inside=8, outside=6):
    """Triangles of a quarter of the square, the axis of the cell at the origin; flags of the cell's.

    The polygon that stands for the circle has the circle's area.
    """
    angles = np.linspace(0.0, np.pi / 2.0, around + 1)
    step = angles[1]
    rim = radius * np.sqrt(step / np.sin(step))
    edge = half / np.maximum(np.cos(angles), np.sin(angles))
    shares = np.linspace(0.0, 1.0, inside + 1)[1:] ** 0.8
    rings = [np.full(around + 1, rim * share) for share in shares]
    rings += [rim + (edge - rim) * share for share in np.linspace(0.0, 1.0, outside + 1)[1:]]
    points = [np.zeros((1, 2))]
    points += [np.column_stack([ring * np.cos(angles), ring * np.sin(angles)]) for ring in rings]
    triangles = [(0, 1 + place, 2 + place) for place in range(around)]
    for ring in range(len(rings) - 1):
        low, high = 1 + ring * (around + 1), 1 + (ring + 1) * (around + 1)
        for place in range(around):
            triangles.append((low + place, high + place, high + place + 1))
            triangles.append((low + place, high + place + 1, low + place + 1))
    mesh = MeshTri(np.concatenate(points).T, np.array(triangles).T)
    middles = mesh.p[:, mesh.t].mean(axis=1)
    return mesh, np.hypot(*middles) < rim * np.cos(step / 2.0)


def follow(times, radius, half, cell, resin, start, rate, heat, seed, grid=(12, 8, 6), dt=0.5, growth=1.03):
    """Rows (mean of the cell, mean of the resin, farthest corner, mean degree) at the times.

    `cell` and `resin` are conductivity and heat capacity, `start` their temperatures, `heat` J/m³ of full
    cure, `rate(degree, temperature in K)` 1/s.
    """
    mesh, is_cell = quarter_mesh(radius, half, *grid)
    basis = Basis(mesh, ElementTriP2(), intorder=4)
    conduct = np.where(is_cell, cell[0], resin[0])[:, None]
    capacity = np.where(is_cell, cell[1], resin[1])[:, None]

    @BilinearForm
    def stiffness(u, v, w):
        return conduct * dot(grad(u), grad(v))

    @BilinearForm
    def mass(u, v, w):
        return capacity * u * v

    @LinearForm
    def load(v, w):
        return w["source"] * v

    stiff, held = stiffness.assemble(basis), mass.assemble(basis)
    # a jump at the begin: the nearest field that conserves heat, one value in each body
    jump = np.where(is_cell, start[0], start[1])[:, None] * np.ones_like(basis.dx)
    warm = splu(held.tocsc()).solve(load.assemble(basis, source=capacity * jump))
    weight = basis.dx
    in_cell, in_resin = weight * is_cell[:, None], weight * ~is_cell[:, None]
    corner = int(np.argmax(basis.doflocs.sum(axis=0)))
    degree = np.full(weight.shape, float(seed))
    factors, found, now, number = {}, [], 0.0, 0
    for goal in times:
        while now < goal - 1e-9:
            wide = min(dt * growth ** (10 * (number // 10)), 30.0)
            step = (goal - now) / max(1, np.ceil((goal - now) / wide - 1e-9))
            theta = 1.0 if number < 6 else 0.5
            key = (round(step, 9), theta)
            if key not in factors:
                factors[key] = splu((held + theta * step * stiff).tocsc())
            old = np.asarray(basis.interpolate(warm))
            before = rate(degree, old + 273.15)
            new, right = degree, held @ warm - (1.0 - theta) * step * (stiff @ warm)
            after_warm = warm
            for _ in range(30):
                hot = np.asarray(basis.interpolate(after_warm)) + 273.15
                change = step * (theta * rate(new, hot) + (1.0 - theta) * before)
                new = np.clip(degree + change, degree, 1.0)
                source = heat * (new - degree) * ~is_cell[:, None]
                last, after_warm = after_warm, factors[key].solve(right + load.assemble(basis, source=source))
                if np.abs(after_warm - last).max() < 1e-5:
                    break
            warm, degree = after_warm, new
            now += step
            number += 1
        field = np.asarray(basis.interpolate(warm))
        found.append(
            (
                (field * in_cell).sum() / in_cell.sum(),
                (field * in_resin).sum() / in_resin.sum(),
                warm[corner],
                (degree * in_resin).sum() / in_resin.sum(),
            )
        )
    return np.array(found)
