"""A show of two lenses for tests of the plan: an invented box with a density, a mask and two flags."""

SCENE = """
brimline = 1
title = "Weir"
camera = { width_mm = 36, height_mm = 24 }
check = { f_numbers = [2.8], focus_mm = ["infinity", 450] }

[[lens]]
name = "near"
focal_mm = 24
f_number = 2.0
front_diameter_mm = 90
front_to_sensor_mm = 178
pupil_behind_front_mm = 40
close_focus_mm = 450
state = [
    { focus_mm = "infinity", front_travel_mm = 0 STATED },
    { focus_mm = 450, front_travel_mm = 3 STATED },
]

[[lens]]
name = "long"
focal_mm = 85
f_number = 2.8
front_diameter_mm = 90
front_to_sensor_mm = 150
pupil_behind_front_mm = 40

[box]
mount = "rods-15"
ahead_mm = 7
offset_mm = [0, -1.5]
back = { width_mm = 220, height_mm = 200, thickness_mm = 4, bore_mm = 100 }

[[box.stage]]
name = "tray"
at_mm = 6
depth_mm = 8
opening_mm = [180, 150]
filter = { name = "ND 6", width_mm = 190, height_mm = 160, thickness_mm = 4, index = 1.5168, kind = "density", density = 0.6 }

[[box.mask]]
name = "mask"
at_mm = 16
opening_mm = [61, 56]
lenses = ["long"]

[[box.flag]]
name = "right flag"
side = "right"
angle_deg = 5
length_mm = 60
width_mm = 160
hinge_mm = 80
at_mm = 24
lenses = ["near"]

[[box.flag]]
name = "left flag"
side = "left"
angle_deg = 80
length_mm = 60
width_mm = 160
hinge_mm = 110
at_mm = 24
lenses = ["near"]
"""
