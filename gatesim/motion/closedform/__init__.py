"""Motion without steps: one force of constant strength beside a constant drive, by formula.

One law a file: dv/dt = drive + strength law(v). Each function takes drive (m/s^2), strength (by the moved
mass), size (m) and v (m/s), all (n,), and returns speed (m/s) and time (s) at the end of a span of that
size. NaN where its formula does not serve: the part does not get there, or digits would be lost. Everything
is computed trial by trial, so the bits of a trial do not depend on its company.
"""
