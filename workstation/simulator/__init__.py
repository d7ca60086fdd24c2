"""A simulated microscope: end faces drawn in micrometres, imaged, with the truth kept beside the picture.

Nothing here knows how pictures are measured, and the measuring code knows nothing of this room.
"""
