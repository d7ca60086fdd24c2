"""One picture to one reading: readiness, fit, plane, background, detection, outline, cause, optical weight.

Pure functions on arrays. Nothing here knows of files, criteria or windows.
"""

from workstation.endface.fibre import find_fibre, follow_fibre
from workstation.endface.occlusion import occlusion
from workstation.endface.reading import read_face

__all__ = ["find_fibre", "follow_fibre", "occlusion", "read_face"]
