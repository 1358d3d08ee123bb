"""Line-and-level steering assistant for pipe-jacking drives: the core, which knows no screen.

Vocabulary, looking ahead in the direction of the drive
-------------------------------------------------------
chainage     m along the design axis (plan length), at the cutter face unless said otherwise.
line, level  mm from the design axis, perpendicular to it: + right, + high.
yaw, pitch   mm/m (= mrad), heading of the front body: + nose right, + nose up.
roll         degrees, + clockwise.
curvature    mm/m² (= 1/km; R[m] = 1000/curvature): + turning right, + turning up.
articulation mm/m between front and rear body: + front body turned right, up.
cylinder     extension in mm as shown on the machine: + extended.
plane        one of "line" (seen from above) and "level" (seen from the side).
sd           one standard deviation of the value beside it, in the value's unit.
innovation   measured minus predicted.
reference    what the target reads: a laser beam fixed in the launch shaft, or a total
             station that already follows the design axis.
check shot   an independent survey of a point of the machine or of a pipe.

A value that was not measured is None or NaN, never 0. Names carry their unit.

The rooms, from the ground up: `axis`, `machine`, `drivefile`; then `log`, `intake`, `survey`,
`estimate`; then `correct`, `pipes`, `asbuilt`; `drive` ties a folder to them; `cli` is the door.
"""

__version__ = "0.1.0"
