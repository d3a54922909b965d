/*
 * Faultloom: finds the electrical fault in a cart from a few readings. C interface.
 *
 * Documents go in and answers come out as JSON text in UTF-8; voltages and probabilities also come as
 * arrays of double. The formats are described by the JSON Schemas that come with the library.
 *
 * Errors. A function that can fail returns a faultloom_status and takes `error` last. When it fails and
 * `error` is not NULL, *error is a new object that the caller frees with faultloom_error_free(); its code
 * is the returned status. On success *error is NULL. Whatever a function hands out (*out, *needed, *name)
 * is NULL or 0 when it fails, unless stated. Beside the causes listed with each function any of them may
 * return
 *   FAULTLOOM_E_ARGUMENT  a pointer that must not be NULL is NULL, or a size is beyond PTRDIFF_MAX; the
 *                         message names the argument
 *   FAULTLOOM_E_MEMORY    out of memory; nothing was changed, the call may be repeated
 *   FAULTLOOM_E_INTERNAL  a defect of the library; the message helps its authors
 *
 * Texts. Every text is a pointer and a size in bytes, and needs no NUL at the end. The library copies what
 * it keeps, so the caller may free a text as soon as the call returns. Where NULL stands for a default,
 * its size must be 0, and an empty text that is not NULL is FAULTLOOM_E_ARGUMENT: a file that was read as
 * empty is never taken for the default.
 *
 * Arrays. The caller gives `capacity`, the number of elements there is room for, and gets the number of
 * elements there are in *needed. Capacity 0 asks for that number alone: the values may be NULL, the work
 * is not done and the documents are not looked at. A capacity of 1 or more that is too small is
 * FAULTLOOM_E_ARGUMENT, with *needed set all the same and no value written.
 *
 * Handles. A pointer to another kind of handle is refused like NULL: FAULTLOOM_E_ARGUMENT, and the message
 * says so. Functions that can't fail answer what they answer for NULL, and the wrong _free does nothing. A
 * handle that was freed must not be used again; that can't be found out for sure.
 *
 * Threads. A faultloom_model never changes; any number of threads may use the same one at the same time,
 * as long as none of them frees it. So may they a faultloom_text and a faultloom_error. A faultloom_job and
 * a faultloom_journal change; one thread at a time may use one. The library keeps no other state and starts
 * no threads.
 *
 * Files. Only the functions of a faultloom_journal touch files: the one whose path they are given, and what
 * they put beside it. Everything else works on texts in memory.
 *
 * Stability. The comment of every function ends in one of two words. Stable: it stays as it is as long as
 * FAULTLOOM_ABI_VERSION does. Experimental: it may change or go with any version of the library.
 *
 * Memory. All of it comes from operator new of C++, and for errors on their way and for files from malloc().
 * The library brings no allocator and binds none. A program that wants its own replaces operator new and
 * operator delete, or malloc() and its kin where the C library allows that, for all of the process, and the
 * library lives on those. There is no function to set one: it would be state that two users of the library
 * in one process could not share. One limit: while a document is read, JSON and schemas need small pieces of
 * memory whose lack can't be reported. If not even those are left, the process may end; everywhere else that
 * is FAULTLOOM_E_MEMORY. An allocator that refuses early keeps a reserve for pieces up to 16 KiB.
 *
 * The library never prints, never ends the process and lets no C++ exception out. Every _free function
 * accepts NULL.
 */
#ifndef FAULTLOOM_H
#define FAULTLOOM_H

#include <stddef.h>
#include <stdint.h>

#if defined(_WIN32)
#if defined(FAULTLOOM_BUILDING)
#define FAULTLOOM_API __declspec(dllexport)
#else
#define FAULTLOOM_API __declspec(dllimport)
#endif
#elif defined(__GNUC__)
#define FAULTLOOM_API __attribute__((visibility("default")))
#else
#define FAULTLOOM_API
#endif

/* Version of this interface. A program built against one number runs with libraries of that number. */
#define FAULTLOOM_ABI_VERSION 1

#ifdef __cplusplus
extern "C" {
#endif

/* FAULTLOOM_OK or one of FAULTLOOM_E_*. */
typedef int32_t faultloom_status;

/*
 * The numbers never change. 1xx documents, 2xx vehicle and circuit, 3xx evidence, 4xx advice, 5xx files, 9xx
 * calls.
 */
enum faultloom_code {
  FAULTLOOM_OK = 0,               /* done */
  FAULTLOOM_E_SYNTAX = 101,       /* the text is not well-formed JSON or CSV */
  FAULTLOOM_E_SCHEMA = 102,       /* a document does not follow its schema */
  FAULTLOOM_E_REFERENCE = 103,    /* a document names something that does not exist */
  FAULTLOOM_E_VALUE = 104,        /* a value is out of range or has the wrong unit */
  FAULTLOOM_E_LOOP = 105,         /* definitions refer to each other in a loop */
  FAULTLOOM_E_LIMIT = 106,        /* a document is too large or too deeply nested */
  FAULTLOOM_E_DUPLICATE = 107,    /* something is defined twice */
  FAULTLOOM_E_DAMAGED = 108,      /* what a journal says first can't be read any more */
  FAULTLOOM_E_DANGLING = 201,     /* a terminal is connected to nothing */
  FAULTLOOM_E_ISLAND = 202,       /* a part of the circuit has no path to pack negative */
  FAULTLOOM_E_IDLE_CONTROL = 203, /* a control drives nothing */
  FAULTLOOM_E_UNREACHABLE = 204,  /* a probe point can't be reached */
  FAULTLOOM_E_SHARED_PIN = 205,   /* two wires on one connector pin */
  FAULTLOOM_E_SILENT_MODE = 206,  /* a fault mode changes nothing observable */
  FAULTLOOM_E_READING = 301,      /* a reading can't be interpreted */
  FAULTLOOM_E_NO_STEP = 401,      /* no step fits the constraints */
  FAULTLOOM_E_NOT_VERIFIED = 402, /* a job can't be closed on what has been proved so far */
  FAULTLOOM_E_STORAGE = 501,      /* a file can't be read or written */
  FAULTLOOM_E_IN_USE = 502,       /* a file is held by another writer */
  FAULTLOOM_E_CHANGED = 503,      /* a file was changed by something else meanwhile */
  FAULTLOOM_E_ARGUMENT = 901,     /* an argument is NULL or out of range */
  FAULTLOOM_E_MEMORY = 902,       /* out of memory */
  FAULTLOOM_E_CANCELLED = 903,    /* the caller asked to stop */
  FAULTLOOM_E_INTERNAL = 999      /* a defect of the library */
};

/* A vehicle with its fault rates and instruments, ready to answer. */
typedef struct faultloom_model faultloom_model;
/* Why a call failed. */
typedef struct faultloom_error faultloom_error;
/* An answer in words or JSON. */
typedef struct faultloom_text faultloom_text;
/* A job that grows, in memory. Belongs to one thread at a time. */
typedef struct faultloom_job faultloom_job;
/* A job that grows in a file, safe from crashes. Belongs to one thread at a time. */
typedef struct faultloom_journal faultloom_journal;

/*
 * Watches a long call and may stop it.
 *
 * share   part of the work done, 0..1; 0 at the first call
 * user    the pointer given with the function
 * Return 0 to go on. Anything else stops the work, and the call returns FAULTLOOM_E_CANCELLED.
 *
 * Called at the start and now and then, always in the thread that made the call. It must return in the
 * ordinary way: no exception, no longjmp. It may make other calls of this library, with the same model too.
 */
typedef int32_t (*faultloom_progress_fn)(double share, void* user);

/* ---- The library itself. None of these can fail; O(1). ------------------------------------------ */

/*
 * FAULTLOOM_ABI_VERSION of the library that was loaded. If it differs from the macro the program was
 * compiled with, no other function may be called. Stable.
 */
FAULTLOOM_API uint32_t faultloom_abi_version(void);

/* Version of the library, "0.1.0". The text lasts as long as the library is loaded. Stable. */
FAULTLOOM_API const char* faultloom_version(void);

/*
 * How the library was built, as JSON: {"version","abi","compiler","build_type"}. For problem reports.
 * The text lasts as long as the library is loaded. Stable.
 */
FAULTLOOM_API const char* faultloom_build_info(void);

/*
 * Name of a status as used in problem lists: "reference" for FAULTLOOM_E_REFERENCE, "ok", or "unknown".
 * The text lasts as long as the library is loaded. Stable.
 */
FAULTLOOM_API const char* faultloom_status_name(faultloom_status status);

/* One English line saying what a status means. The text lasts as long as the library is loaded. Stable. */
FAULTLOOM_API const char* faultloom_status_meaning(faultloom_status status);

/* ---- Errors. None of these can fail; O(1). ------------------------------------------------------- */

/* The status of the failed call. FAULTLOOM_OK if `error` is NULL. Stable. */
FAULTLOOM_API faultloom_status faultloom_error_code(const faultloom_error* error);

/*
 * The first problem found in one English line without newline: what is wrong, where, what to do.
 * "" if `error` is NULL. Belongs to the error, lasts until it is freed. Stable.
 */
FAULTLOOM_API const char* faultloom_error_message(const faultloom_error* error);

/*
 * JSON pointer (RFC 6901) to the place of the first problem in the document at fault; "" if it concerns the
 * whole document or no document, or if `error` is NULL. Belongs to the error, lasts until it is freed.
 * Stable.
 */
FAULTLOOM_API const char* faultloom_error_pointer(const faultloom_error* error);

/*
 * All problems found, as a JSON array of {"code":name,"number":status,"message","pointer"}; the first is
 * the one the functions above describe. "[]" if `error` is NULL. Belongs to the error, lasts until it is
 * freed. Stable.
 */
FAULTLOOM_API const char* faultloom_error_details(const faultloom_error* error);

/* Frees an error. NULL is fine. Stable. */
FAULTLOOM_API void faultloom_error_free(faultloom_error* error);

/* ---- Texts. None of these can fail; O(1). -------------------------------------------------------- */

/*
 * The bytes of a text in UTF-8, with a NUL after the last. "" if `text` is NULL. Belongs to the text, lasts
 * until it is freed. Stable.
 */
FAULTLOOM_API const char* faultloom_text_data(const faultloom_text* text);

/* Number of bytes of a text without the NUL at the end. 0 if `text` is NULL. Stable. */
FAULTLOOM_API size_t faultloom_text_size(const faultloom_text* text);

/* Frees a text. NULL is fine. Stable. */
FAULTLOOM_API void faultloom_text_free(faultloom_text* text);

/* ---- Documents ----------------------------------------------------------------------------------- */

/*
 * Checks one document without building a model: its schema, the references inside it and, for a vehicle,
 * whether the wiring makes sense. Findings are the answer and not an error.
 *
 * document      text of any of the library's formats, told apart by its member "format"
 * kinds         kinds document to check a vehicle against; NULL: the one that comes with the library
 * problems      gets a new text, to be freed by the caller: JSON array of {"code","number","message",
 *               "pointer"}, [] if nothing was found
 *
 * Errors: only those every function has.
 * Complexity: linear in the document, except for a vehicle's wiring, which is solved a few times.
 * Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_check_document(const char* document, size_t document_size,
                                                        const char* kinds, size_t kinds_size,
                                                        faultloom_text** problems,
                                                        faultloom_error** error);

/*
 * Turns a wire run list into the skeleton of a vehicle document.
 *
 * csv           run list in CSV; the header line names the columns wire, from, to, length_metre, and
 *               gauge_awg or area_mm2, and may name loom, zone and class (control or power)
 * vehicle_id    id of the new vehicle: a letter, then up to 63 letters, digits, _ or -
 * vehicle       gets a new text, to be freed by the caller: the vehicle as JSON
 *
 * Errors: FAULTLOOM_E_SYNTAX     not CSV, or a row with more or fewer fields than the header line
 *         FAULTLOOM_E_SCHEMA     a column is missing, unknown or named twice, or there is no wire or no part
 *         FAULTLOOM_E_VALUE      a name, pin, length or gauge is none
 *         FAULTLOOM_E_DUPLICATE  two wires of the same name, or one name for a wire, a part or a pin
 *         FAULTLOOM_E_LIMIT      the list is too long, or holds more of something than a vehicle may
 *         FAULTLOOM_E_ARGUMENT   also when vehicle_id is no id
 * The details name every bad row.
 * Complexity: linear in the list. Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_vehicle_from_run_list(const char* csv, size_t csv_size,
                                                               const char* vehicle_id,
                                                               size_t vehicle_id_size,
                                                               faultloom_text** vehicle,
                                                               faultloom_error** error);

/* ---- The model ----------------------------------------------------------------------------------- */

/*
 * Builds a model.
 *
 * vehicle       vehicle document; must not be NULL
 * kinds         kinds of parts and how they fail; NULL: the document that comes with the library
 * rates         failure rates; NULL likewise
 * instruments   instruments and their errors; NULL likewise
 * cautions      safety texts; NULL likewise
 * progress      watcher; NULL: none
 * user          handed to `progress`; may be NULL
 * model         gets the new model, to be freed by the caller with faultloom_model_free()
 *
 * Errors: FAULTLOOM_E_SYNTAX     a document is not JSON
 *         FAULTLOOM_E_SCHEMA     a member is missing, unknown or of the wrong type
 *         FAULTLOOM_E_REFERENCE  a document names a kind, part, terminal, mode, zone, loom, control,
 *                                caution or instrument that does not exist
 *         FAULTLOOM_E_VALUE      a number is out of its range
 *         FAULTLOOM_E_LOOP       kinds are based on each other in a loop
 *         FAULTLOOM_E_LIMIT      a document is too large or nested too deeply
 *         FAULTLOOM_E_DUPLICATE  something is defined twice
 *         FAULTLOOM_E_CANCELLED  `progress` asked to stop
 * The details list every problem of the document at fault; messages name it if it is not the vehicle.
 * Complexity: linear in the documents, then one factorisation of the circuit. Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_model_from_json(
    const char* vehicle, size_t vehicle_size, const char* kinds, size_t kinds_size,
    const char* rates, size_t rates_size, const char* instruments, size_t instruments_size,
    const char* cautions, size_t cautions_size, faultloom_progress_fn progress, void* user,
    faultloom_model** model, faultloom_error** error);

/* Frees a model, which no thread may be using any more. NULL is fine. Stable. */
FAULTLOOM_API void faultloom_model_free(faultloom_model* model);

/*
 * What the model contains.
 *
 * summary       gets a new text, to be freed by the caller: JSON faultloom.summary with id, title, counts
 *               and the lists of controls, terminals, components and modes
 *
 * Errors: only those every function has. Complexity: linear in the vehicle. Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_model_summary(const faultloom_model* model,
                                                       faultloom_text** summary,
                                                       faultloom_error** error);

/*
 * Looks for what is allowed and still deserves a look: terminals connected to nothing, controls that drive
 * nothing, probe points out of reach, fault modes that no reading could tell from the healthy vehicle.
 * Findings are the answer and not an error.
 *
 * progress      watcher; NULL: none
 * user          handed to `progress`; may be NULL
 * problems      gets a new text, to be freed by the caller: JSON array of {"code","number","message",
 *               "pointer"}, [] if nothing was found
 *
 * Errors: FAULTLOOM_E_CANCELLED  `progress` asked to stop
 * Complexity: every mode is solved in every state of the controls. Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_model_lint(const faultloom_model* model,
                                                    faultloom_progress_fn progress, void* user,
                                                    faultloom_text** problems,
                                                    faultloom_error** error);

/* ---- The circuit --------------------------------------------------------------------------------- */

/*
 * Number of terminals.
 *
 * count         gets the number
 *
 * Errors: only those every function has. Complexity: O(1). Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_terminal_count(const faultloom_model* model, size_t* count,
                                                        faultloom_error** error);

/*
 * Name of a terminal, PART.terminal.
 *
 * index         0 to the number of terminals - 1
 * name          gets a text that belongs to the model and lasts until the model is freed
 *
 * Errors: FAULTLOOM_E_ARGUMENT  also when there is no such index
 * Complexity: O(1). Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_terminal_name(const faultloom_model* model, size_t index,
                                                       const char** name, faultloom_error** error);

/*
 * Voltage of every terminal against pack negative in one situation [V].
 *
 * situation     JSON {"state":{control:position}, "modes":["K1/coil_open"], "lifted":["W7:from"],
 *               "isolated":true}, every member optional: controls not named are at rest, no modes means no
 *               fault, lifted lists wire ends taken off, isolated also takes off those the vehicle names
 *               for it. NULL: at rest, healthy and all wires on
 * volts         gets the voltages in the order of the terminals; may be NULL if capacity is 0
 * capacity      room in `volts`, in elements
 * needed        gets the number of terminals
 *
 * Errors: FAULTLOOM_E_SYNTAX     the situation is not JSON
 *         FAULTLOOM_E_SCHEMA     it has a member that is unknown or of the wrong type
 *         FAULTLOOM_E_REFERENCE  it names a control, position, mode or wire end that does not exist
 *         FAULTLOOM_E_DUPLICATE  it names a mode twice
 *         FAULTLOOM_E_READING    it is isolated, and the vehicle does not say how
 *         FAULTLOOM_E_ARGUMENT   also when capacity is not 0 and too small, or volts is NULL then
 * Complexity: a few sparse solutions per change of a contact, O(n) each for wiring-like circuits with n
 * terminals. Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_terminal_volts(const faultloom_model* model,
                                                        const char* situation,
                                                        size_t situation_size, double* volts,
                                                        size_t capacity, size_t* needed,
                                                        faultloom_error** error);

/*
 * One situation in full.
 *
 * situation     as in faultloom_terminal_volts()
 * solution      gets a new text, to be freed by the caller: JSON faultloom.solution with voltages [V],
 *               currents [A], contacts, signs a person would notice, and whether a contact chatters
 *
 * Errors: those of faultloom_terminal_volts()
 * Complexity: as faultloom_terminal_volts(). Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_solve(const faultloom_model* model, const char* situation,
                                               size_t situation_size, faultloom_text** solution,
                                               faultloom_error** error);

/*
 * One situation as a SPICE deck, to be solved by another program.
 *
 * situation     as in faultloom_terminal_volts()
 * deck          gets a new text, to be freed by the caller; elements in ohms, volts and amperes, contacts
 *               as they settle in that situation
 *
 * Errors: those of faultloom_terminal_volts()
 * Complexity: as faultloom_terminal_volts(). Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_spice_deck(const faultloom_model* model,
                                                    const char* situation, size_t situation_size,
                                                    faultloom_text** deck, faultloom_error** error);

/* ---- Diagnosis ----------------------------------------------------------------------------------- */

/*
 * Number of fault modes of all components.
 *
 * count         gets the number
 *
 * Errors: only those every function has. Complexity: O(1). Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_mode_count(const faultloom_model* model, size_t* count,
                                                    faultloom_error** error);

/*
 * Name of a fault mode, COMPONENT/mode.
 *
 * index         0 to the number of modes - 1
 * name          gets a text that belongs to the model and lasts until the model is freed
 *
 * Errors: FAULTLOOM_E_ARGUMENT  also when there is no such index
 * Complexity: O(1). Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_mode_name(const faultloom_model* model, size_t index,
                                                   const char** name, faultloom_error** error);

/*
 * Probability of each fault mode before anything was read, 0..1.
 *
 * job           job document, for its hours of use and environment; NULL: the defaults of the rates
 * priors        gets the probabilities in the order of the modes; may be NULL if capacity is 0
 * capacity      room in `priors`, in elements
 * needed        gets the number of modes
 *
 * Errors: FAULTLOOM_E_SYNTAX     the job is not JSON
 *         FAULTLOOM_E_SCHEMA     it does not follow the schema of jobs
 *         FAULTLOOM_E_REFERENCE  it names something that the model does not have
 *         FAULTLOOM_E_VALUE      a number is out of its range
 *         FAULTLOOM_E_ARGUMENT   also when capacity is not 0 and too small, or priors is NULL then
 * Complexity: linear in the modes. Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_mode_priors(const faultloom_model* model, const char* job,
                                                     size_t job_size, double* priors,
                                                     size_t capacity, size_t* needed,
                                                     faultloom_error** error);

/*
 * Probability of each fault mode after everything the job records, 0..1. They need not add up to 1: there
 * may be no fault, one outside the model, or several at once.
 *
 * job           job document; must not be NULL
 * progress      watcher; NULL: none
 * user          handed to `progress`; may be NULL
 * posteriors    gets the probabilities in the order of the modes; may be NULL if capacity is 0
 * capacity      room in `posteriors`, in elements
 * needed        gets the number of modes
 *
 * Errors: FAULTLOOM_E_SYNTAX     the job is not JSON
 *         FAULTLOOM_E_SCHEMA     it does not follow the schema of jobs
 *         FAULTLOOM_E_REFERENCE  it names something that the model does not have
 *         FAULTLOOM_E_VALUE      a number is out of its range
 *         FAULTLOOM_E_DUPLICATE  two entries of the same id
 *         FAULTLOOM_E_LIMIT      the job is too large
 *         FAULTLOOM_E_READING    an outcome does not fit its instrument; or entries that repeat or contradict
 *                                each other by the hundred, so that their probability is below every number
 *         FAULTLOOM_E_CANCELLED  `progress` asked to stop
 *         FAULTLOOM_E_ARGUMENT   also when capacity is not 0 and too small, or posteriors is NULL then
 * Complexity: one solution of the circuit for each candidate set of faults and each state of the controls
 * that an entry was made in. Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_mode_posteriors(const faultloom_model* model,
                                                         const char* job, size_t job_size,
                                                         faultloom_progress_fn progress, void* user,
                                                         double* posteriors, size_t capacity,
                                                         size_t* needed, faultloom_error** error);

/*
 * Ranks the suspects after everything the job records.
 *
 * job           job document; must not be NULL
 * options       JSON {"top":20, "bound":0.001, "budget_seconds":0, "budget_sets":8000}: how many rows a
 *               list has at most (0..10000), how much probability may at most lie in sets of faults not
 *               looked at (0..1; "bound" in the answer says how much it is), how many seconds all of it may take
 *               (0..3600), and after about how many sets of faults (0..1000000000) to end the search all the
 *               same; 0: no such limit. "complete" in the answer is false if a limit ended it. Without a limit
 *               on the sets a bound out of reach takes hours: give seconds then. NULL: the values shown
 * progress      watcher; NULL: none
 * user          handed to `progress`; may be NULL
 * ranking       gets a new text, to be freed by the caller: JSON faultloom.ranking
 *
 * Errors: those of faultloom_mode_posteriors(), the first four also for the options
 * Complexity: as faultloom_mode_posteriors(). Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_rank(const faultloom_model* model, const char* job,
                                              size_t job_size, const char* options,
                                              size_t options_size, faultloom_progress_fn progress,
                                              void* user, faultloom_text** ranking,
                                              faultloom_error** error);

/*
 * Advises what to do next: the test or repair with which the job is expected to cost least in the end.
 *
 * job           job document; must not be NULL
 * options       JSON {"instruments":[ids], "closed_zones":[ids], "alternatives":3, "allow_live":true,
 *               "max_minutes":20, "authorized_usd":250, "comeback_usd":150, "good_part_loss":0.4,
 *               "good_part_usd":40, "budget_seconds":0.5, "budget_decisions":2000, "budget_sets":2500}:
 *               instruments at hand instead of the job's, zones not to be opened, how many other steps to
 *               list (0..10000), whether steps on a live circuit are allowed, how long one step may take
 *               [min], zones included (0..1e6), up to what cost a repair may be done without asking first
 *               [USD] (0..1e9), what it costs if the vehicle comes back [USD] (0..1e9), the share of its
 *               price that a good part costs that was replaced (0..1), what that costs besides [USD]
 *               (0..1e9), how many seconds all of it may take (0..3600; the answer then depends on the
 *               machine, and what has to be known of each step takes its time all the same), how many
 *               decisions may be looked into to compare steps (0..1e9), and how many sets of faults the
 *               belief looks at that steps are weighed with (0..1e9); 0 for no limit. NULL: the job's
 *               instruments, 3, true, 150, 0.4, 40, 2500, and no
 *               limits otherwise
 * progress      watcher; NULL: none
 * user          handed to `progress`; may be NULL
 * step          gets a new text, to be freed by the caller: JSON faultloom.step, with times [min] and
 *               costs [USD]
 *
 * Errors: those of faultloom_mode_posteriors(), the first four also for the options
 *         FAULTLOOM_E_NO_STEP  no step fits the options, or the job is closed
 * Complexity: faultloom_mode_posteriors() once, then each possible step is weighed against the leading
 * candidates and the best are followed to the end of the job. Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_next_step(const faultloom_model* model, const char* job,
                                                   size_t job_size, const char* options,
                                                   size_t options_size,
                                                   faultloom_progress_fn progress, void* user,
                                                   faultloom_text** step, faultloom_error** error);

/*
 * Unrolls the advice to a plan: the first step, and after each outcome what then, as a tree of steps
 * numbered by how probable it is that they are needed.
 *
 * job           job document; must not be NULL
 * options       those of faultloom_next_step(), and {"depth":8, "residual":0.02, "max_steps":60}: most
 *               steps one after another (1..1000), the probability below which a branch is not followed
 *               (0..1), and most steps in all (1..10000), the most probable ones. Of runners-up only one
 *               is ever used, where the best step takes too long from where it stands. NULL: the
 *               values shown
 * progress      watcher, asked at least at every step and leaf; NULL: none
 * user          handed to `progress`; may be NULL
 * plan          gets a new text, to be freed by the caller: JSON faultloom.plan, with times [min] and
 *               costs [USD]
 *
 * Errors: those of faultloom_next_step()
 * Complexity: faultloom_next_step() once, then its comparison of steps again for each step and leaf of the
 * plan. Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_plan(const faultloom_model* model, const char* job,
                                              size_t job_size, const char* options,
                                              size_t options_size, faultloom_progress_fn progress,
                                              void* user, faultloom_text** plan,
                                              faultloom_error** error);

/*
 * Draws the first steps of the same plan on one A4 page to print: where, what, what each outcome means and
 * where to go on, minutes, costs, cautions.
 *
 * job           job document; must not be NULL
 * options       as in faultloom_plan(). NULL likewise
 * progress      watcher, as in faultloom_plan(); NULL: none
 * user          handed to `progress`; may be NULL
 * card          gets a new text, to be freed by the caller: SVG in UTF-8, which loads nothing from elsewhere
 *
 * Errors: those of faultloom_next_step()
 * Complexity: as faultloom_plan(). Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_plan_card(const faultloom_model* model, const char* job,
                                                   size_t job_size, const char* options,
                                                   size_t options_size,
                                                   faultloom_progress_fn progress, void* user,
                                                   faultloom_text** card, faultloom_error** error);

/*
 * Explains a ranking: for each entry of the job what was expected under the leading suspects, how much it
 * speaks for and against each [decibans], and whether it looks like a misreading.
 *
 * job           job document; must not be NULL
 * options       as in faultloom_rank(), but top is 6 if not given; entries that "budget_seconds" do not
 *               suffice for have no weights. NULL likewise
 * progress      watcher; NULL: none
 * user          handed to `progress`; may be NULL
 * explanation   gets a new text, to be freed by the caller: JSON faultloom.explanation
 *
 * Errors: those of faultloom_mode_posteriors(), the first four also for the options
 * Complexity: faultloom_mode_posteriors() once, and a pass over its candidates for each entry. Threads: any.
 * Stable.
 */
FAULTLOOM_API faultloom_status faultloom_explain(const faultloom_model* model, const char* job,
                                                 size_t job_size, const char* options,
                                                 size_t options_size,
                                                 faultloom_progress_fn progress, void* user,
                                                 faultloom_text** explanation,
                                                 faultloom_error** error);

/*
 * Lists what has to be proved before the vehicle goes back: that it drives every way, that every interlock
 * stops it, and how much voltage is left under load along what was repaired, before and after. Says what
 * the entries after the last repair prove, and what earlier work is probably still there.
 *
 * job           job document; must not be NULL
 * progress      watcher; NULL: none
 * user          handed to `progress`; may be NULL
 * verification  gets a new text, to be freed by the caller: JSON faultloom.verification
 *
 * Errors: those of faultloom_mode_posteriors()
 * Complexity: faultloom_mode_posteriors() once, and one solution of the circuit for each position of a
 * control. Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_verification(const faultloom_model* model, const char* job,
                                                      size_t job_size,
                                                      faultloom_progress_fn progress, void* user,
                                                      faultloom_text** verification,
                                                      faultloom_error** error);

/*
 * Closes a job, or says what stands against it.
 *
 * job           job document; must not be NULL
 * closing       JSON {"verdict":"repaired", "by":"verification", "note":""}. Verdict: repaired,
 *               fixed_itself, no_fault_found or not_repaired. By: verification, or word for the
 *               technician's own, which stands for everything but interlocks. Must not be NULL
 * progress      watcher; NULL: none
 * user          handed to `progress`; may be NULL
 * closed        gets a new text, to be freed by the caller: the job document with its closing, everything
 *               else as it was
 *
 * Errors: those of faultloom_mode_posteriors(), the first four also for the closing
 *         FAULTLOOM_E_NOT_VERIFIED  something stands against it; the details name each thing
 * Complexity: as faultloom_verification(). Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_close_job(const faultloom_model* model, const char* job,
                                                   size_t job_size, const char* closing,
                                                   size_t closing_size,
                                                   faultloom_progress_fn progress, void* user,
                                                   faultloom_text** closed,
                                                   faultloom_error** error);

/*
 * Says which of the present suspects no reading at hand can tell apart, and what would.
 *
 * job           job document; must not be NULL
 * options       JSON {"instruments":[ids], "closed_zones":[ids], "allow_live":true, "looks":false,
 *               "lifting":false, "top":10}: instruments at hand instead of the job's, zones not to be
 *               opened, whether tests on a live circuit, looks at components and the taking off of wire
 *               ends count as available, and how many groups to list (0..10000). NULL: the job's
 *               instruments and the values shown
 * progress      watcher; NULL: none
 * user          handed to `progress`; may be NULL
 * ambiguity     gets a new text, to be freed by the caller: JSON faultloom.ambiguity
 *
 * Errors: those of faultloom_mode_posteriors(), the first four also for the options
 * Complexity: faultloom_mode_posteriors() once, then each suspect is solved in every state of the controls,
 * and again for what might split each group listed. Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_ambiguity(const faultloom_model* model, const char* job,
                                                   size_t job_size, const char* options,
                                                   size_t options_size,
                                                   faultloom_progress_fn progress, void* user,
                                                   faultloom_text** ambiguity,
                                                   faultloom_error** error);

/*
 * Says how far the faults of the vehicle can be detected and told apart at all, weighed by how likely they
 * are before anything was read, and which groups of faults are the worst. For those who design a vehicle
 * or write its model.
 *
 * options       as in faultloom_ambiguity(), but without instruments all are at hand. NULL likewise
 * progress      watcher; NULL: none
 * user          handed to `progress`; may be NULL
 * testability   gets a new text, to be freed by the caller: JSON faultloom.testability
 *
 * Errors: FAULTLOOM_E_SYNTAX     the options are not JSON
 *         FAULTLOOM_E_SCHEMA     they have a member that is unknown or of the wrong type
 *         FAULTLOOM_E_REFERENCE  they name an instrument or zone that does not exist
 *         FAULTLOOM_E_VALUE      a number is out of its range
 *         FAULTLOOM_E_CANCELLED  `progress` asked to stop
 * Complexity: every fault is solved in every state of the controls, and those of the groups listed again
 * for what might split them. Threads: any. Stable.
 */
FAULTLOOM_API faultloom_status faultloom_testability(const faultloom_model* model,
                                                     const char* options, size_t options_size,
                                                     faultloom_progress_fn progress, void* user,
                                                     faultloom_text** testability,
                                                     faultloom_error** error);

/* ---- Jobs ---------------------------------------------------------------------------------------- */

/*
 * Begins a job about the vehicle of a model. What is added to it is checked against that model, which may
 * be freed before the job.
 *
 * id            id of the new job: a letter, then up to 63 letters, digits, _ or -
 * job           gets the new job, to be freed by the caller with faultloom_job_free()
 *
 * Errors: FAULTLOOM_E_SCHEMA  the id is none
 * Complexity: linear in the vehicle. Threads: any. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_job_new(const faultloom_model* model, const char* id,
                                                 size_t id_size, faultloom_job** job,
                                                 faultloom_error** error);

/*
 * Takes up a job from its document.
 *
 * document      job document about the vehicle of the model; must not be NULL
 * job           gets the new job, to be freed by the caller with faultloom_job_free()
 *
 * Errors: FAULTLOOM_E_SYNTAX     the document is not JSON
 *         FAULTLOOM_E_SCHEMA     it does not follow the schema of jobs
 *         FAULTLOOM_E_REFERENCE  it names something that the model does not have
 *         FAULTLOOM_E_VALUE      a number is out of its range
 *         FAULTLOOM_E_DUPLICATE  two entries of the same id
 *         FAULTLOOM_E_LIMIT      the job is too large
 *         FAULTLOOM_E_READING    an outcome does not fit its instrument
 * Complexity: linear in the document. Threads: any. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_job_from_json(const faultloom_model* model,
                                                       const char* document, size_t document_size,
                                                       faultloom_job** job,
                                                       faultloom_error** error);

/* Frees a job. NULL is fine. Experimental. */
FAULTLOOM_API void faultloom_job_free(faultloom_job* job);

/*
 * Adds one entry: a reading, sign, look, cue or repair. It is checked like one of a job document, and if
 * anything is wrong with it the job stays as it was.
 *
 * entry         JSON of the entry, for example {"type":"look","component":"W7","outcome":"clean"}. Without
 *               an id it gets "e1", "e2" and so on; must not be NULL
 * id            gets the id of the entry; it belongs to the job and lasts until that is freed
 *
 * Errors: those of faultloom_job_from_json(); pointers go into the entry: "/red"
 *         FAULTLOOM_E_VALUE      also when the job is closed
 *         FAULTLOOM_E_DUPLICATE  the id is taken
 *         FAULTLOOM_E_LIMIT      the job is full: 10000 entries, each try counted
 * Complexity: linear in the entry and in the members of the job other than its entries.
 * Threads: one at a time for a job. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_job_add_entry(faultloom_job* job, const char* entry,
                                                       size_t entry_size, const char** id,
                                                       faultloom_error** error);

/*
 * Takes an entry back. It stays in the document, named in "withdrawn", and answers are as if it had never
 * been made. Taking back what was taken back changes nothing.
 *
 * id            id of the entry
 *
 * Errors: FAULTLOOM_E_REFERENCE  there is no such entry
 *         FAULTLOOM_E_VALUE      the job is closed
 * Complexity: logarithmic in the entries. Threads: one at a time for a job. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_job_withdraw(faultloom_job* job, const char* id,
                                                      size_t id_size, faultloom_error** error);

/*
 * Sets members of the job that are no entries.
 *
 * members       JSON object, for example {"complaint":"It stands still","opened_zones":["dash"]}; null takes
 *               a member off, and {"closing":null} opens a closed job again. The id, the vehicle and the
 *               entries can't be set; must not be NULL
 *
 * Errors: those of faultloom_job_from_json(); pointers go into the object
 * Complexity: linear in the members. Threads: one at a time for a job. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_job_set(faultloom_job* job, const char* members,
                                                 size_t members_size, faultloom_error** error);

/*
 * Closes a job, or says what stands against it; then the job stays as it was.
 *
 * closing       as in faultloom_close_job(); must not be NULL
 * progress      watcher; NULL: none. It must not use the same job
 * user          handed to `progress`; may be NULL
 *
 * Errors: those of faultloom_close_job()
 * Complexity: as faultloom_close_job(). Threads: one at a time for a job. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_job_close(faultloom_job* job, const char* closing,
                                                   size_t closing_size,
                                                   faultloom_progress_fn progress, void* user,
                                                   faultloom_error** error);

/*
 * Number of entries, those taken back too.
 *
 * count         gets the number
 *
 * Errors: only those every function has. Complexity: O(1). Threads: one at a time for a job. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_job_entry_count(const faultloom_job* job, size_t* count,
                                                         faultloom_error** error);

/*
 * The job as a document, to be asked about, kept or sent.
 *
 * document      gets a new text, to be freed by the caller: JSON faultloom.job
 *
 * Errors: only those every function has. Complexity: linear in the job.
 * Threads: one at a time for a job. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_job_json(const faultloom_job* job,
                                                  faultloom_text** document,
                                                  faultloom_error** error);

/* ---- Journals: jobs in files --------------------------------------------------------------------- */

/*
 * A journal is a file to which a job is written change by change, each as one line with a checksum, the
 * first line with the job as it was at the beginning. What a call reported as added is on the disk: a crash
 * or a full disk can cost no more than the change being written. Lines damaged later are found, told and
 * stepped over. A journal belongs to one writer at a time, also among processes; the lock goes with the
 * process. Systems with POSIX files only.
 */

/*
 * Makes a journal that begins with a job document. The file appears whole or not at all.
 *
 * path          of the new file, in UTF-8 or whatever the system takes
 * model         of the job's vehicle, which may be freed before the journal; NULL: names in the job and in
 *               what is added to it are not looked up, only their form is checked
 * job           job document; must not be NULL
 * journal       gets the new journal, to be closed by the caller with faultloom_journal_free()
 *
 * Errors: those of faultloom_job_from_json()
 *         FAULTLOOM_E_STORAGE   the file can't be made, or there is one of that name
 *         FAULTLOOM_E_IN_USE    another writer is making it
 *         FAULTLOOM_E_ARGUMENT  also when the path is empty or has a NUL in it
 * Complexity: linear in the document. Threads: any. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_journal_create(const char* path, size_t path_size,
                                                        const faultloom_model* model,
                                                        const char* job, size_t job_size,
                                                        faultloom_journal** journal,
                                                        faultloom_error** error);

/*
 * Opens a journal to go on with it. An end that was broken off or damaged is moved to a new file beside it,
 * NAME.damaged-1 or the next free number, and damage elsewhere stays where it is; either is told by
 * faultloom_journal_status(). A job document in plain JSON becomes a journal of the same name; the document
 * stays beside it as NAME.before-journal. To read a journal without writing, use faultloom_journal_read().
 *
 * path          of the file
 * model         as in faultloom_journal_create()
 * journal       gets the journal, to be closed by the caller with faultloom_journal_free()
 *
 * Errors: those of faultloom_job_from_json(), for the job in it
 *         FAULTLOOM_E_STORAGE   the file can't be read or written
 *         FAULTLOOM_E_IN_USE    another writer holds it
 *         FAULTLOOM_E_DAMAGED   its first line can't be read; nothing was touched
 *         FAULTLOOM_E_SCHEMA    also when it was written by a later version
 *         FAULTLOOM_E_LIMIT     also when it has more than 64 MiB
 *         FAULTLOOM_E_ARGUMENT  also when the path is empty or has a NUL in it
 * Complexity: linear in the file. Threads: any. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_journal_open(const char* path, size_t path_size,
                                                      const faultloom_model* model,
                                                      faultloom_journal** journal,
                                                      faultloom_error** error);

/* Closes a journal and gives its file free. All that was added is on the disk. NULL is fine. Experimental. */
FAULTLOOM_API void faultloom_journal_free(faultloom_journal* journal);

/*
 * Adds one change, which counts as a whole or not at all. When this returns FAULTLOOM_OK it is on the disk;
 * otherwise nothing was added, to the file or to the job.
 *
 * change        JSON {"add":[entries], "withdraw":[ids], "set":{members}}, each part optional: as
 *               faultloom_job_add_entry(), faultloom_job_withdraw() and faultloom_job_set(); must not be NULL
 * added         gets a new text, to be freed by the caller: JSON array of the ids of the new entries
 *
 * Errors: those of these three; pointers go into the change: "/add/0/red"
 *         FAULTLOOM_E_STORAGE  the disk is full or the like; make room and try again
 *         FAULTLOOM_E_CHANGED  something else wrote, replaced or removed the file; open it again
 *         FAULTLOOM_E_LIMIT    also when the file would have more than 64 MiB; see
 *                              faultloom_journal_compact()
 * Complexity: linear in the change and in the members of the job other than its entries; one write to the
 * disk. Threads: one at a time for a journal. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_journal_append(faultloom_journal* journal,
                                                        const char* change, size_t change_size,
                                                        faultloom_text** added,
                                                        faultloom_error** error);

/*
 * Adds what a job document has more than the journal, as one change: for a job that was kept elsewhere, or
 * what faultloom_close_job() gave.
 *
 * job           document of the same job, with all entries that the journal has; must not be NULL
 *
 * Errors: those of faultloom_journal_append(); pointers go into the document
 *         FAULTLOOM_E_REFERENCE  also when it is another job
 *         FAULTLOOM_E_VALUE      also when an entry is missing, different or no longer taken back
 * Complexity: linear in the document; one write to the disk.
 * Threads: one at a time for a journal. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_journal_update(faultloom_journal* journal, const char* job,
                                                        size_t job_size, faultloom_error** error);

/*
 * The job of a journal as a document.
 *
 * document      gets a new text, to be freed by the caller: JSON faultloom.job
 *
 * Errors: only those every function has. Complexity: linear in the job.
 * Threads: one at a time for a journal. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_journal_json(const faultloom_journal* journal,
                                                      faultloom_text** document,
                                                      faultloom_error** error);

/*
 * What a journal holds and what was wrong with it when it was opened.
 *
 * status        gets a new text, to be freed by the caller: JSON faultloom.journal_status with path, job,
 *               vehicle, counts of records, entries and bytes, and damage, a list that is empty if all was
 *               well: {"what","message","line","at_byte","bytes","kept_in"}. What: unfinished (a change that
 *               was never reported as added), damaged, missing, out_of_order, repeated, contradicting or
 *               unlinked. kept_in is the path of what was moved away. After a job in plain JSON was taken
 *               over, migrated_from and old_kept_in say so
 *
 * Errors: only those every function has. Complexity: linear in the damage.
 * Threads: one at a time for a journal. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_journal_status(const faultloom_journal* journal,
                                                        faultloom_text** status,
                                                        faultloom_error** error);

/*
 * Makes another journal that begins with the job as it is now. The one there is stays as it is.
 *
 * path          of the new file
 *
 * Errors: those of faultloom_journal_create()
 * Complexity: linear in the job. Threads: one at a time for a journal. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_journal_compact(const faultloom_journal* journal,
                                                         const char* path, size_t path_size,
                                                         faultloom_error** error);

/*
 * Reads the job out of the bytes of a journal, without touching any file; also while somebody else writes
 * it. The job is checked against the schema, not against a vehicle.
 *
 * bytes         all bytes of a journal; must not be NULL
 * document      gets a new text, to be freed by the caller: JSON faultloom.job
 * status        gets a new text, to be freed by the caller: as faultloom_journal_status(), with journal
 *               version, records, bytes and damage
 *
 * Errors: FAULTLOOM_E_DAMAGED  the first line can't be read
 *         FAULTLOOM_E_SCHEMA   it was written by a later version; or what is left is no job any more
 * Complexity: linear in the bytes. Threads: any. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_journal_read(const char* bytes, size_t bytes_size,
                                                      faultloom_text** document,
                                                      faultloom_text** status,
                                                      faultloom_error** error);
/* ---- Learning ------------------------------------------------------------------------------------ */

/*
 * Learns failure rates from a history of closed jobs and of hours without one.
 *
 * Jobs whose cause was not confirmed are weighed: what their entries leave open counts by its probability
 * under the rates as they are learned, not under those the model was built with.
 *
 * models        array of models, one of each vehicle in the history, all built with the same rates
 * model_count   their number, 1 or more
 * history       history document; must not be NULL
 * options       JSON {"pool":true, "environments":true, "shares":true, "noticed_otherwise":0.2,
 *               "budget_seconds":0, "budget_sets":8000}: whether kinds of a class are pooled, whether the
 *               multipliers of environments and the shares of modes are learned, the chance that a vehicle is
 *               brought in for a fault that does not stop it (0..1), and the search's limits for each job, as
 *               in faultloom_rank(). NULL: the values shown
 * progress      watcher; NULL: none
 * user          handed to `progress`; may be NULL
 * learned       gets a new text, to be freed by the caller: JSON faultloom.learning with the new rates
 *               document in "rates", what changed and why, and what the history can't say. Rates in failures
 *               per million hours
 *
 * Errors: FAULTLOOM_E_SYNTAX     the history or the options are not JSON
 *         FAULTLOOM_E_SCHEMA     one does not follow its schema
 *         FAULTLOOM_E_REFERENCE  the history names a vehicle without a model, or something that its vehicle
 *                                or the rates do not have
 *         FAULTLOOM_E_VALUE      a number is out of its range
 *         FAULTLOOM_E_DUPLICATE  two jobs or entries of the same id, or a component confirmed twice
 *         FAULTLOOM_E_LIMIT      the history is too large
 *         FAULTLOOM_E_READING    an outcome does not fit its instrument; or entries that repeat or contradict
 *                                each other by the hundred, so that their probability is below every number
 *         FAULTLOOM_E_ARGUMENT   also when two models are of one vehicle, or their rates differ
 *         FAULTLOOM_E_CANCELLED  `progress` asked to stop
 * Complexity: faultloom_mode_posteriors() for each job without a confirmed cause. Threads: any.
 * Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_learn_rates(
    const faultloom_model* const* models, size_t model_count, const char* history,
    size_t history_size, const char* options, size_t options_size, faultloom_progress_fn progress,
    void* user, faultloom_text** learned, faultloom_error** error);

/*
 * Says how right the probabilities of a ranking were in jobs whose cause was confirmed, judged by the
 * entries before the first repair.
 *
 * models        as in faultloom_learn_rates()
 * against       models of the same vehicles with other rates, to be compared on the same jobs; NULL: none
 * against_count their number; 0 if `against` is NULL
 * history       history document; must not be NULL
 * options       JSON {"bins":10, "budget_seconds":0, "budget_sets":8000}: bins of the reliability diagram
 *               (1..10000), each with the same number of probabilities, and the search's limits as in
 *               faultloom_rank(). NULL: the values shown
 * progress      watcher; NULL: none
 * user          handed to `progress`; may be NULL
 * calibration   gets a new text, to be freed by the caller: JSON faultloom.calibration. Log loss and entropy
 *               in nat per job, with standard errors over jobs
 *
 * Errors: those of faultloom_learn_rates()
 *         FAULTLOOM_E_VALUE  also when no job has entries and a confirmed cause
 * Complexity: faultloom_mode_posteriors() for each job with a confirmed cause. Threads: any. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_calibration(
    const faultloom_model* const* models, size_t model_count, const faultloom_model* const* against,
    size_t against_count, const char* history, size_t history_size, const char* options,
    size_t options_size, faultloom_progress_fn progress, void* user, faultloom_text** calibration,
    faultloom_error** error);

/*
 * Says how a job's ranking hangs on each failure rate: how much each component's probability changes with
 * it, how far it can be off before another component leads, and what knowing it exactly would save.
 *
 * job           job document; must not be NULL
 * options       as in faultloom_rank(), but top is 10 if not given; NULL likewise
 * progress      watcher; NULL: none
 * user          handed to `progress`; may be NULL
 * sensitivity   gets a new text, to be freed by the caller: JSON faultloom.sensitivity. Derivatives by the
 *               natural log of a rate; savings in USD, an upper limit
 *
 * Errors: those of faultloom_rank()
 * Complexity: faultloom_mode_posteriors() once, and some hundred passes over its candidates for each rate.
 * Threads: any. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_sensitivity(const faultloom_model* model, const char* job,
                                                     size_t job_size, const char* options,
                                                     size_t options_size,
                                                     faultloom_progress_fn progress, void* user,
                                                     faultloom_text** sensitivity,
                                                     faultloom_error** error);

/*
 * Ranks the suspects of many jobs about one vehicle, most of them by tables that are made once for all.
 *
 * jobs          JSON array of job documents; must not be NULL. A job that can't be read has the status
 *               "failed" and its problems in its place, and does not stop the others
 * options       JSON {"most_suspects":10, "screen":true, "full":true, "screen_bound":0.5, "bound":0.001,
 *               "budget_seconds":0, "budget_sets":8000}: how many suspects and components to list for a job
 *               (0..10000); whether to look jobs up in tables ("screened"); whether to rank what the tables
 *               leave open by more than screen_bound (0..1), and what they can't look up, as faultloom_rank()
 *               does ("ranked"), with its last three options. NULL: the values shown
 * progress      watcher, told the share of the jobs done; NULL: none
 * user          handed to `progress`; may be NULL
 * ranking       gets a new text, to be freed by the caller: JSON faultloom.fleet-ranking, a row for each job
 *               in the order given
 *
 * Errors: FAULTLOOM_E_SYNTAX     the jobs are no JSON array, or the options are not JSON
 *         FAULTLOOM_E_SCHEMA     the options have a member that is unknown or of the wrong type
 *         FAULTLOOM_E_VALUE      a number of the options is out of its range
 *         FAULTLOOM_E_CANCELLED  `progress` asked to stop
 * Complexity: for jobs that are ranked as faultloom_mode_posteriors() for each; for the others linear in their
 * entries and the faults of the vehicle, beside one solution of the circuit for each fault and each way of
 * taking a reading that occurs. Threads: any. Experimental.
 */
FAULTLOOM_API faultloom_status faultloom_model_rank_jobs(const faultloom_model* model,
                                                         const char* jobs, size_t jobs_size,
                                                         const char* options, size_t options_size,
                                                         faultloom_progress_fn progress, void* user,
                                                         faultloom_text** ranking,
                                                         faultloom_error** error);

#ifdef __cplusplus
}
#endif

#endif
