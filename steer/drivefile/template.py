"""The drive.toml that `steer new` writes: every key with a comment, and it loads as it stands."""

FILE_NAME = "drive.toml"

TEMPLATE = """\
# A drive. Every value below is an invented example: put your own in its place, from the drawings,
# the machine's manual and the survey. `steer check FOLDER` says what is wrong with this file.
# Looking ahead in the direction of the drive: + right, + high, + nose right, + nose up, + clockwise.
# Lengths in m, offsets in mm, directions in mm per m. A decimal number is written with a point.

[drive]
name = "Example drive, values to replace"    # as it shall stand on screens and reports
stroke_m = 1.0                     # nominal advance per main-jack stroke

[axis]                             # the design axis of the pipe
# where the axis starts; bearing clockwise from grid north
start = { chainage_m = 0.0, easting_m = 1000.0, northing_m = 1000.0, level_m = 50.0, bearing_deg = 90.0 }
# in plan, one element after the other (a spiral is a clothoid):
#   { kind = "line", length_m = 60.0 }
#   { kind = "arc", length_m = 80.0, radius_m = 600.0, turn = "right" }   or "left"
#   { kind = "spiral", length_m = 20.0, radius_start_m = "inf", radius_end_m = 600.0, turn = "right" }
horizontal = [
  { kind = "line", length_m = 100.0 },
]
# in level, by plan lengths too, over the same length in all; grades + rising with the drive:
#   { kind = "grade", length_m = 100.0, grade_mm_per_m = 4.0 }
#   { kind = "parabola", length_m = 60.0, grade_start_mm_per_m = 4.0, grade_end_mm_per_m = 7.0 }
#   { kind = "arc", length_m = 60.0, grade_start_mm_per_m = 4.0, grade_end_mm_per_m = 7.0 }   circular
vertical = [
  { kind = "grade", length_m = 100.0, grade_mm_per_m = 4.0 },
]
# or, instead of start, horizontal and vertical, an alignment of a LandXML file in this folder:
# landxml = "axis.xml"
# alignment = "NAME"                       # which one; not needed when the file holds one only

[tolerance]
line_mm = 50.0                     # largest offset allowed, right or left of the axis
level_mm = 30.0                    # largest offset allowed, above or below the axis
# eye = { line_mm = 30.0, level_mm = 20.0 }    # optional: a tighter opening to arrive in
# ranges = [                       # optional: another tolerance between chainages, as built
#   { from_m = 40.0, to_m = 45.0, line_mm = 25.0, level_mm = 15.0 },
# ]

[machine]
front_length_m = 2.2               # face to articulation
rear_length_m = 2.6                # articulation to tail
outer_diameter_mm = 2180.0
max_articulation_mm_per_m = 38.0   # most that the front body turns, both planes together
max_change_mm_per_m = 10.0         # most that it may change in a stroke, each plane

[machine.cylinders]
positions_deg = [45, 135, 225, 315]    # clockwise from the top, looking ahead, at zero roll, cylinder 1 first
circle_radius_mm = 800.0           # radius of the circle on which they stand
range_mm = [0.0, 72.0]             # shortest and longest extension, as shown on the machine
neutral_mm = 36.0                  # all at this extension: straight
step_mm = 1.0                      # finest setting an operator makes

[target]
behind_face_m = 1.8                # target behind the cutter face
right_mm = 0.0                     # target centre from the machine axis, in the machine's own frame
up_mm = 350.0

[reference]
kind = "beam"                      # "beam": a laser fixed in the launch shaft, straight
                                   # along the start of the axis;
                                   # "axis": the guidance already follows the design axis
right_mm = 0.0                     # where the reference runs, from the design axis
up_mm = 350.0
right_mm_per_m = 0.0               # beam only: its direction against the axis at the start
up_mm_per_m = 0.0

[sd]                               # standard deviations, all optional; these are the defaults
spot_mm = 1.5                      # one reading of the spot
spot_mm_per_100m = 0.75            # what is added to it with distance from the shaft
yaw_mm_per_m = 0.7                 # one reading of yaw
pitch_mm_per_m = 0.5               # one reading of pitch
pitch_bias_mm_per_m = 0.3          # the inclinometer's own zero error, unknown and constant
launch_mm = 4.0                    # how well the machine was set up in the shaft: its offset
launch_mm_per_m = 1.0              # and its direction
reference_mm = 1.5                 # how well the reference was set: its offset
reference_mm_per_m = 0.02          # and its direction

[pipe]
length_m = 3.0
outer_diameter_mm = 2160.0
inner_diameter_mm = 1800.0
max_joint_angle_mm_per_m = 8.0     # what joint and packer allow
# for the force check, all four or none:
packer_thickness_mm = 18.0
packer_modulus_mpa = 100.0
packer_width_mm = 140.0            # radial width of the bearing ring, centred on the pipe wall
max_joint_stress_mpa = 18.0        # largest stress the joint may carry

[steering]                         # optional
firmness = "normal"                # how hard to steer back: "gentle", "normal" or "firm"
# return_over_m = 6.0              # over what distance to be back on the axis; worked out when left out
# hold_mm = 2.0                    # leave the cylinders alone when a change would save less offset than this

[decision]                         # optional
conformance_probability = 0.95     # how sure a verdict of inside or outside has to be
string_sd_mm = 0.0                 # how far the pipes may lie from the machine's path where none was surveyed

[limits]                           # optional: jacking forces that must not be passed, kN
# main_jack_kn = 12000.0           # what the main jacks can push
# thrust_wall_kn = 10000.0         # what the thrust wall can take
# pipe_kn = 11000.0                # what the straight pipe may carry, from its manufacturer

[survey]                           # optional: how check surveys are made, for the survey plan
leg_m = 60.0                       # longest sight of the traverse through the pipes
angle_sd_sec = 5.0                 # standard deviation of one of its angles
point_sd_mm = 1.5                  # ... of the surveyed point itself: centring, target
level_sd_mm_per_sqrt_km = 4.0      # ... of levelling over 1 km
# base_m = 6.0                     # base of control marks in the launch shaft ...
# base_mark_sd_mm = 0.5            # ... and how well each mark is known across it

[sewer]                            # optional: how the grade is judged
flow = "gravity"                   # "gravity": backfalls and ponds are looked for; "pressure": they are not
grade_base_m = 10.0                # grade is also judged over this moving length
flat_mm_per_m = 0.5                # a fall of less than this counts as flat

[report]                           # optional: title block of the as-built report
# client = "..."
# contractor = "..."
# engineer = "..."
# contract = "..."
paper = "A4"                       # "A4" or "Letter"
"""
