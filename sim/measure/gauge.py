"""TEMP."""
from dataclasses import dataclass
import numpy as np
@dataclass(frozen=True)
class Plane:
    height_um: float; slope_x: float; slope_y: float; x_mm: float; y_mm: float
    def at(self, x, y): return self.height_um + self.slope_x*(x-self.x_mm)+self.slope_y*(y-self.y_mm)
def reading_plane(x,y,z):
    A=np.column_stack([np.ones(len(x)),x-x.mean(),y-y.mean()]); c=np.linalg.lstsq(A,z,rcond=None)[0]
    return Plane(float(c[0]),float(c[1]),float(c[2]),float(x.mean()),float(y.mean()))
