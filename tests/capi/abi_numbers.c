/* Numbers and sizes that programs were compiled with. None of them may ever change; a new code gets a line
 * here. Each line refuses to compile if it is not true. The checks of the library's debug information don't
 * see these: no function mentions the enum, and a macro leaves no trace. */
#include <faultloom.h>

#define JOINED(a, b) a##b
#define NAMED(a, b) JOINED(a, b)
#define HOLDS(condition) typedef char NAMED(holds_, __LINE__)[(condition) ? 1 : -1]

HOLDS(FAULTLOOM_ABI_VERSION == 1);

HOLDS(FAULTLOOM_OK == 0);
HOLDS(FAULTLOOM_E_SYNTAX == 101);
HOLDS(FAULTLOOM_E_SCHEMA == 102);
HOLDS(FAULTLOOM_E_REFERENCE == 103);
HOLDS(FAULTLOOM_E_VALUE == 104);
HOLDS(FAULTLOOM_E_LOOP == 105);
HOLDS(FAULTLOOM_E_LIMIT == 106);
HOLDS(FAULTLOOM_E_DUPLICATE == 107);
HOLDS(FAULTLOOM_E_DAMAGED == 108);
HOLDS(FAULTLOOM_E_DANGLING == 201);
HOLDS(FAULTLOOM_E_ISLAND == 202);
HOLDS(FAULTLOOM_E_IDLE_CONTROL == 203);
HOLDS(FAULTLOOM_E_UNREACHABLE == 204);
HOLDS(FAULTLOOM_E_SHARED_PIN == 205);
HOLDS(FAULTLOOM_E_SILENT_MODE == 206);
HOLDS(FAULTLOOM_E_READING == 301);
HOLDS(FAULTLOOM_E_NO_STEP == 401);
HOLDS(FAULTLOOM_E_NOT_VERIFIED == 402);
HOLDS(FAULTLOOM_E_STORAGE == 501);
HOLDS(FAULTLOOM_E_IN_USE == 502);
HOLDS(FAULTLOOM_E_CHANGED == 503);
HOLDS(FAULTLOOM_E_ARGUMENT == 901);
HOLDS(FAULTLOOM_E_MEMORY == 902);
HOLDS(FAULTLOOM_E_CANCELLED == 903);
HOLDS(FAULTLOOM_E_INTERNAL == 999);

HOLDS(sizeof(enum faultloom_code) == 4);
HOLDS(sizeof(faultloom_status) == 4);
HOLDS((faultloom_status)-1 < 0);
HOLDS(sizeof(faultloom_progress_fn) == sizeof(void*));

/* Every enumerator once: with -Wswitch the compiler names one that was forgotten here. */
int faultloom_every_code_has_a_line(enum faultloom_code code);
int faultloom_every_code_has_a_line(enum faultloom_code code) {
  switch (code) {
    case FAULTLOOM_OK:
    case FAULTLOOM_E_SYNTAX:
    case FAULTLOOM_E_SCHEMA:
    case FAULTLOOM_E_REFERENCE:
    case FAULTLOOM_E_VALUE:
    case FAULTLOOM_E_LOOP:
    case FAULTLOOM_E_LIMIT:
    case FAULTLOOM_E_DUPLICATE:
    case FAULTLOOM_E_DAMAGED:
    case FAULTLOOM_E_DANGLING:
    case FAULTLOOM_E_ISLAND:
    case FAULTLOOM_E_IDLE_CONTROL:
    case FAULTLOOM_E_UNREACHABLE:
    case FAULTLOOM_E_SHARED_PIN:
    case FAULTLOOM_E_SILENT_MODE:
    case FAULTLOOM_E_READING:
    case FAULTLOOM_E_NO_STEP:
    case FAULTLOOM_E_NOT_VERIFIED:
    case FAULTLOOM_E_STORAGE:
    case FAULTLOOM_E_IN_USE:
    case FAULTLOOM_E_CHANGED:
    case FAULTLOOM_E_ARGUMENT:
    case FAULTLOOM_E_MEMORY:
    case FAULTLOOM_E_CANCELLED:
    case FAULTLOOM_E_INTERNAL:
      return 1;
  }
  return 0;
}
