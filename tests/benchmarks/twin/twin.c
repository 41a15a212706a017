/* The whole plant kernel in C, on the same memory: one translation unit, so that the compiler sees all of it.
 *
 * The same equations in the same order of operations, under the same names, as the Python kernels; each file
 * stands for the module of that name. It exists to measure the compiled Python against, and to check it.
 */
#include "common.h"

#include "physics.c"
#include "rows.c"
#include "random.c"
#include "chemistry.c"
#include "plug.c"
#include "motor.c"
#include "actuator.c"
#include "instrument.c"
#include "machine.c"
#include "control.c"
#include "alarm.c"
#include "source.c"
#include "splitter.c"
#include "doser.c"
#include "pump.c"
#include "line.c"
#include "makedown.c"
#include "press.c"
#include "bed.c"
#include "clarifier.c"
#include "vessel.c"
#include "cell.c"
#include "loop.c"

#include "units.c"
