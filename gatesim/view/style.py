"""What all figures have in common: colours that colour-blind readers and grey printers can tell apart."""

# Okabe and Ito's colour-blind safe palette (2008), in the parts used here; lines differ in dash as well
BLUE = "#0072B2"
SKY = "#56B4E9"
ORANGE = "#E69F00"
VERMILION = "#D55E00"
GREEN = "#009E73"
BLACK = "#000000"
GREY = "#7f7f7f"
HEAT_MAP = "cividis"  # rises evenly in lightness, so grey prints read the same
