"""Six lopsided scenes for the general-purpose renderer; invented, for comparing two programs only."""

HEAD = """
brimline = 1
title = "renderer check"
[camera]
width_mm = 36.0
height_mm = 24.0
pixels = [24, 16]
[[lens]]
name = "a"
focal_mm = {focal}
f_number = {f_number}
front_diameter_mm = 110
front_to_sensor_mm = 150
pupil_behind_front_mm = {pupil}
[check]
focus_mm = [{focus}]
f_numbers = [{f_number}]
[box]
"""

SIDE_FLAG = (
    HEAD.format(focal=24, f_number=1.4, pupil=40, focus=20000)
    + """
[[box.flag]]
side = "right"
angle_deg = 12
hinge_mm = 62
at_mm = 30
length_mm = 90
width_mm = 150
[[box.flag]]
side = "top"
angle_deg = 25
hinge_mm = 58
at_mm = 34
length_mm = 80
width_mm = 110
"""
)

CLOSE_AND_FAST = (
    HEAD.format(focal=40, f_number=1.2, pupil=55, focus=520)
    + """
[box.hood]
at_mm = 20
depth_mm = 80
rear_mm = [84, 62]
front_mm = [128, 84]
[[box.flag]]
side = "left"
angle_deg = 8
length_mm = 70
width_mm = 60
"""
)

TILTED_GLASS_PAIR = (
    HEAD.format(focal=24, f_number=2.0, pupil=40, focus=20000)
    + """
[[box.stage]]
at_mm = 8
depth_mm = 6
opening_mm = [110, 84]
tilt_deg = 6
filter = { width_mm = 150, height_mm = 150, index = 1.5168 }
[[box.stage]]
at_mm = 30
depth_mm = 6
opening_mm = [124, 92]
tilt_deg = -9
filter = { width_mm = 170, height_mm = 170, thickness_mm = 6, index = 1.6 }
[box.hood]
at_mm = 46
depth_mm = 40
rear_mm = [150, 110]
front_mm = [190, 112]
"""
)

TURNED_TRAY = (
    HEAD.format(focal=21, f_number=2.0, pupil=38, focus=20000)
    + """
[[box.stage]]
at_mm = 20
depth_mm = 12
opening_mm = [112, 112]
corner_mm = 5
turn_deg = 33
[[box.mask]]
at_mm = 50
opening_mm = [170, 104]
corner_mm = 12
"""
)

RAISED_AND_TILTED = (
    HEAD.format(focal=24, f_number=1.8, pupil=42, focus=20000).replace(
        "[box]", "[box]\nahead_mm = 3\noffset_mm = [-6, 9]\ntilt_deg = 4"
    )
    + """
[box.back]
width_mm = 190
height_mm = 160
bore_mm = 120
[[box.mask]]
at_mm = 46
opening_mm = [146, 92]
corner_mm = 8
[box.hood]
at_mm = 48
depth_mm = 60
rear_mm = [160, 110]
front_mm = [230, 150]
"""
)

IMPORTED_MESH = (
    HEAD.format(focal=24, f_number=1.4, pupil=40, focus=20000)
    + """
[[box.mask]]
at_mm = 30
opening_mm = [130, 90]
[[box.solid]]
file = "bracket.ply"
unit = "mm"
at_mm = 60
"""
)
