"""Fall, sliding incline with friction, and spring launch in MuJoCo, a multi-body engine.

Its semi-implicit Euler method is run with steps of h = 20 us. From rest under acceleration a it gives
x = a t (t + h)/2, so it is early by half a step: 10 us is the tolerance, with 2e-5 relative for the
friction, which is a slightly soft constraint there.
"""

import mujoco
import numpy as np
import pytest
from numpy.testing import assert_allclose

from gatesim.motion import Launch, Path, passage
from tests.motion_rigs import Block

STEP = 2e-5


def crossings(xml, marks):
    """Times at which the only joint passes the marks, interpolated within a step."""
    model = mujoco.MjModel.from_xml_string(xml)
    data = mujoco.MjData(model)
    times, before = [], 0.0
    while len(times) < len(marks) and data.time < 3:
        mujoco.mj_step(model, data)
        now = float(data.qpos[0])
        while len(times) < len(marks) and now >= marks[len(times)]:
            times.append(data.time - STEP * (now - marks[len(times)]) / (now - before))
        before = now
    return times


def slider(axis, joint="", gravity="0 0 -9.80665"):
    return f"""<mujoco><option timestep="{STEP}" gravity="{gravity}"><flag contact="disable"/></option>
    <worldbody><body><joint type="slide" axis="{axis}" {joint}/>
    <geom type="box" size=".085 .01 .01" mass=".08"/></body></worldbody></mujoco>"""


MARKS = [0.1, 0.4, 0.45, 0.8]


def test_free_fall():
    times = crossings(slider("0 0 -1"), MARKS)
    assert_allclose(passage(Block(), Path(np.pi / 2), (), MARKS).time[0], times, rtol=2e-5, atol=0.55 * STEP)


@pytest.mark.parametrize(("slope", "friction"), [(35, 0.25), (50, 0.4)])
def test_sliding_incline_with_friction(slope, friction):
    theta = np.deg2rad(slope)
    normal = 0.08 * 9.80665 * np.cos(theta)
    axis = f"{np.cos(theta)} 0 {-np.sin(theta)}"
    times = crossings(
        slider(axis, f'frictionloss="{friction * normal}" solimpfriction=".999 .9999 .001"'), MARKS
    )
    assert_allclose(
        passage(Block(), Path(theta, friction), (), MARKS).time[0], times, rtol=2e-5, atol=0.55 * STEP
    )


def test_spring_launch_until_the_natural_length():
    marks = [0.02, 0.06, 0.0999]
    times = crossings(slider("1 0 0", 'stiffness="200" springref="0.1"'), marks)
    assert_allclose(
        passage(Block(), Path(0.0), (Launch(200.0, 0.1),), marks).time[0], times, rtol=2e-5, atol=0.55 * STEP
    )
