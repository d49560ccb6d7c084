"""Compiled queries of the canal chart: where is a point, and how deep in the wall or the dura.

All tables are uniform cubic B-splines (C2) along the station u and periodic in the angle theta. The
order of operations is exact: the rod's solver must repeat to the bit.

Layout of the arrays, baked in canal_bake.py:
frame_coefficients (n, 12): centre, tangent, left, dorsal;
surface_coefficients (n, m, 4): wall radius, wall steepness, dura radius, dura steepness;
height_table (k,): station over height z; params (4,): first station, step of u, first height, step of z.
"""

import math

import numpy as np

from meshes.compiled import kernel

NEWTON_STEPS = 8
WORK = 52
CONTACT = 11


@kernel
def spline_weights(t, weight, slope):
    """Write the four cubic B-spline weights at t in 0..1 and their derivatives by t."""
    u = 1.0 - t
    weight[0] = u * u * u / 6.0
    weight[1] = (3.0 * t * t * t - 6.0 * t * t + 4.0) / 6.0
    weight[2] = (3.0 * u * u * u - 6.0 * u * u + 4.0) / 6.0
    weight[3] = t * t * t / 6.0
    slope[0] = -u * u / 2.0
    slope[1] = (3.0 * t * t - 4.0 * t) / 2.0
    slope[2] = (-3.0 * u * u + 4.0 * u) / 2.0
    slope[3] = t * t / 2.0


@kernel
def frame(frame_coefficients, first, step, u, out, weight, slope):
    """Write centre, tangent, left, dorsal into out[0:12] and their derivatives by u into out[12:24]."""
    n = frame_coefficients.shape[0]
    p = min(max((u - first) / step, 1.0), n - 2.001)
    i = int(p)
    spline_weights(p - i, weight, slope)
    for k in range(24):
        out[k] = 0.0
    for a in range(4):
        for k in range(12):
            value = frame_coefficients[i - 1 + a, k]
            out[k] += weight[a] * value
            out[12 + k] += slope[a] * value
    for k in range(12):
        out[12 + k] /= step


@kernel
def project(frame_coefficients, height_table, params, x, y, z, guess, out, weight, slope):
    """Return the station of the foot point, where tangent . (point - centre) = 0; its frame stays in `out`.

    Newton's method from `guess`, or from the height of the point where guess <= 0.
    """
    first, step = params[0], params[1]
    u = guess
    if u <= 0.0:
        q = min(max((z - params[2]) / params[3], 0.0), height_table.shape[0] - 1.001)
        i = int(q)
        u = height_table[i] + (height_table[i + 1] - height_table[i]) * (q - i)
    low = first + step
    high = first + step * (frame_coefficients.shape[0] - 2.01)
    for _ in range(NEWTON_STEPS):
        frame(frame_coefficients, first, step, u, out, weight, slope)
        rx, ry, rz = x - out[0], y - out[1], z - out[2]
        miss = out[3] * rx + out[4] * ry + out[5] * rz
        rate = out[15] * rx + out[16] * ry + out[17] * rz
        rate -= out[3] * out[12] + out[4] * out[13] + out[5] * out[14]
        move = min(max(-miss / rate, -15.0), 15.0)
        following = min(max(u + move, low), high)
        if abs(following - u) < 1e-8:
            break
        u = following
    return u


@kernel
def surfaces(coefficients, first, step, u, theta, value, by_u, by_theta, work):
    """Write all tables of coefficients (n, m, k) at (u, theta) and their derivatives; work holds 16."""
    weight_u, slope_u, weight_t, slope_t = work[0:4], work[4:8], work[8:12], work[12:16]
    n, m, tables = coefficients.shape
    turn = 2.0 * math.pi / m
    p = min(max((u - first) / step, 1.0), n - 2.001)
    i = int(p)
    spline_weights(p - i, weight_u, slope_u)
    q = theta / turn
    j = math.floor(q)
    spline_weights(q - j, weight_t, slope_t)
    for k in range(tables):
        value[k], by_u[k], by_theta[k] = 0.0, 0.0, 0.0
    for b in range(4):
        column = (j - 1 + b) % m
        for a in range(4):
            w, wu, wt = weight_u[a] * weight_t[b], slope_u[a] * weight_t[b], weight_u[a] * slope_t[b]
            for k in range(tables):
                c = coefficients[i - 1 + a, column, k]
                value[k] += w * c
                by_u[k] += wu * c
                by_theta[k] += wt * c
    for k in range(tables):
        by_u[k] /= step
        by_theta[k] /= turn


@kernel
def chart_contact(frame_coefficients, surface_coefficients, height_table, params, x, y, z, guess, out, work):
    """Write how far a point keeps from wall and dura, with exact gradients, and its chart coordinates.

    out[0:4] room to the wall (negative: inside it) and its gradient by x, y, z;
    out[4:8] room to the dura and its gradient; out[8:11] station, angle, radius.
    Room is steepness * (radius of the surface - radius): a first-order distance, within 0.08 mm of the
    true one in 95 % of places. `out` holds 11, `work` 52 floats; guess as in `project`.
    """
    f, weight, slope = work[0:24], work[24:28], work[28:32]
    value, by_u, by_theta = work[24:28], work[28:32], work[32:36]
    u = project(frame_coefficients, height_table, params, x, y, z, guess, f, weight, slope)
    rx, ry, rz = x - f[0], y - f[1], z - f[2]
    a = f[6] * rx + f[7] * ry + f[8] * rz
    b = f[9] * rx + f[10] * ry + f[11] * rz
    rate = f[3] * f[12] + f[4] * f[13] + f[5] * f[14] - (f[15] * rx + f[16] * ry + f[17] * rz)
    a_by_u = f[18] * rx + f[19] * ry + f[20] * rz - (f[6] * f[12] + f[7] * f[13] + f[8] * f[14])
    b_by_u = f[21] * rx + f[22] * ry + f[23] * rz - (f[9] * f[12] + f[10] * f[13] + f[11] * f[14])
    r2 = a * a + b * b + 1e-12
    r = math.sqrt(r2)
    theta = math.atan2(a, b)
    surfaces(surface_coefficients, params[0], params[1], u, theta, value, by_u, by_theta, work[36:52])
    for s in range(2):
        sign = 1.0 if s == 0 else -1.0
        room, steep = value[2 * s] - r, value[2 * s + 1]
        out[4 * s] = sign * steep * room
        along = sign * (by_u[2 * s + 1] * room + steep * by_u[2 * s])
        around = sign * (by_theta[2 * s + 1] * room + steep * by_theta[2 * s])
        for k in range(3):
            du = f[3 + k] / rate
            da, db = f[6 + k] + a_by_u * du, f[9 + k] + b_by_u * du
            turned, outward = (b * da - a * db) / r2, (a * da + b * db) / r
            out[4 * s + 1 + k] = along * du + around * turned - sign * steep * outward
    out[8], out[9], out[10] = u, theta, r


@kernel
def chart_contacts(frame_coefficients, surface_coefficients, height_table, params, points):
    """Return `chart_contact` (n, 11) of points (n, 3)."""
    out, work = np.empty((points.shape[0], 11)), np.empty(52)
    for i in range(points.shape[0]):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        chart_contact(
            frame_coefficients, surface_coefficients, height_table, params, x, y, z, 0.0, out[i], work
        )
    return out


@kernel
def frames(frame_coefficients, params, u):
    """Return centre, tangent, left, dorsal (n, 12) at stations u (n,)."""
    out, row, work = np.empty((u.shape[0], 12)), np.empty(24), np.empty(8)
    for i in range(u.shape[0]):
        frame(frame_coefficients, params[0], params[1], u[i], row, work[0:4], work[4:8])
        out[i] = row[0:12]
    return out


@kernel
def surface_radii(coefficients, params, u, theta):
    """Return all tables (n, k) of coefficients (n, m, k) at stations u (n,) and angles theta (n,)."""
    out = np.empty((u.shape[0], coefficients.shape[2]))
    by_u, by_theta, work = np.empty(out.shape[1]), np.empty(out.shape[1]), np.empty(16)
    for i in range(u.shape[0]):
        surfaces(coefficients, params[0], params[1], u[i], theta[i], out[i], by_u, by_theta, work)
    return out
