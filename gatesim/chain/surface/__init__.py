"""The motion of many trials of one rig as a polynomial in what varies, fitted to the equation of motion."""
