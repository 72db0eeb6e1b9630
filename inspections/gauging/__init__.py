"""Gauges: the register, zeroing, fixed limits, studies, the watch on bias, torque wrenches."""
