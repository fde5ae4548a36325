"""The machinery as it really is: actuators, gearboxes, engines, hull, lamps. Integers and + - x / only, the same on any machine.

It knows nothing of nodes or frames: it is told what outputs do, and is measured by inputs. Every simplification is marked
*model assumption*.
"""
