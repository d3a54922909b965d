/* A program with an allocator of its own. It defines malloc() and its kin, as the GNU C library allows (its
 * manual: "Replacing malloc"), and hands out pieces of one fixed pool. The library must live on that pool
 * alone, give everything back, report a pool that is used up, and go on when there is room again. */
#include <faultloom.h>

#include <errno.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- The pool: pieces of 64 bytes, 128, 256, ..., each with a head of 64 before it. ------------------- */

#define POOL_BYTES ((size_t)512 << 20)
#define HEAD_BYTES ((size_t)64)
#define CLASSES 24

/* Small pieces may go beyond the limit by a reserve: faultloom.h says why. */
#define SMALL_BYTES ((size_t)16 << 10)
#define RESERVE_BYTES ((size_t)1 << 20)

struct head {
  size_t size_class;
  struct head* next; /* free ones of the same size */
};

/* A little longer, so that pieces can start at a multiple of 64. */
static unsigned char pool[HEAD_BYTES + POOL_BYTES];
static size_t pool_end;
static struct head* free_pieces[CLASSES];

static size_t pieces_in_use;
static size_t pieces_taken;
static size_t bytes_in_use;
static size_t most_bytes = POOL_BYTES; /* that may be in use at once */

static size_t room_of(size_t size_class) { return (size_t)64 << size_class; }

static void* take(size_t size) {
  size_t size_class = 0;
  size_t limit;
  struct head* head;
  while (size_class < CLASSES && room_of(size_class) < size) ++size_class;
  limit = most_bytes + (size <= SMALL_BYTES ? RESERVE_BYTES : 0);
  if (size_class == CLASSES || bytes_in_use + room_of(size_class) > limit) {
    errno = ENOMEM;
    return NULL;
  }
  head = free_pieces[size_class];
  if (head != NULL) {
    free_pieces[size_class] = head->next;
  } else {
    if (pool_end == 0) pool_end = (HEAD_BYTES - (uintptr_t)pool % HEAD_BYTES) % HEAD_BYTES;
    if (HEAD_BYTES + room_of(size_class) > sizeof pool - pool_end) {
      errno = ENOMEM;
      return NULL;
    }
    head = (struct head*)(void*)(pool + pool_end);
    pool_end += HEAD_BYTES + room_of(size_class);
  }
  head->size_class = size_class;
  head->next = NULL;
  ++pieces_in_use;
  ++pieces_taken;
  bytes_in_use += room_of(size_class);
  return (unsigned char*)head + HEAD_BYTES;
}

static struct head* head_of(void* memory) {
  const uintptr_t at = (uintptr_t)memory;
  const uintptr_t first = (uintptr_t)pool;
  if (at < first + HEAD_BYTES || at >= first + pool_end || at % HEAD_BYTES != 0) abort();
  return (struct head*)(void*)((unsigned char*)memory - HEAD_BYTES);
}

void free(void* memory) {
  struct head* head;
  if (memory == NULL) return;
  head = head_of(memory);
  --pieces_in_use;
  bytes_in_use -= room_of(head->size_class);
  head->next = free_pieces[head->size_class];
  free_pieces[head->size_class] = head;
}

void* malloc(size_t size) { return take(size); }

void* calloc(size_t count, size_t size) {
  void* memory;
  if (size != 0 && count > SIZE_MAX / size) {
    errno = ENOMEM;
    return NULL;
  }
  memory = take(count * size);
  return memory == NULL ? NULL : memset(memory, 0, count * size);
}

void* realloc(void* memory, size_t size) {
  void* moved;
  size_t kept;
  if (memory == NULL) return take(size);
  if (size == 0) {
    free(memory);
    return NULL;
  }
  kept = room_of(head_of(memory)->size_class);
  if (size <= kept) return memory;
  moved = take(size);
  if (moved == NULL) return NULL;
  memcpy(moved, memory, kept);
  free(memory);
  return moved;
}

/* Every piece starts at a multiple of 64; nothing here asks for more. */
void* aligned_alloc(size_t alignment, size_t size) {
  return alignment <= HEAD_BYTES ? take(size) : NULL;
}

void* memalign(size_t alignment, size_t size) { return aligned_alloc(alignment, size); }

int posix_memalign(void** memory, size_t alignment, size_t size) {
  *memory = aligned_alloc(alignment, size);
  return *memory == NULL ? ENOMEM : 0;
}

/* ---- The job. ----------------------------------------------------------------------------------- */

struct document {
  char* data;
  size_t size;
};

static struct document vehicle;
static struct document job;

static void give_up(const char* what) {
  fprintf(stderr, "%s\n", what);
  exit(1);
}

static struct document read_file(const char* path) {
  struct document text = {NULL, 0};
  FILE* file = fopen(path, "rb");
  long length;
  if (file == NULL || fseek(file, 0, SEEK_END) != 0 || (length = ftell(file)) < 0) {
    give_up(path);
    return text;
  }
  rewind(file);
  text.data = malloc((size_t)length);
  if (text.data == NULL) give_up("no memory for a document");
  text.size = fread(text.data, 1, (size_t)length, file);
  fclose(file);
  return text;
}

/* Model, ranking and step, all freed again: FAULTLOOM_OK or FAULTLOOM_E_MEMORY. */
static faultloom_status diagnose(void) {
  static const char rank_options[] = "{\"top\":3,\"budget_sets\":200}";
  static const char step_options[] = "{\"alternatives\":0,\"budget_sets\":200}";
  faultloom_model* model = NULL;
  faultloom_text* answer = NULL;
  faultloom_error* error = NULL;
  faultloom_status status = faultloom_model_from_json(vehicle.data, vehicle.size, NULL, 0, NULL, 0,
                                                      NULL, 0, NULL, 0, NULL, NULL, &model, &error);
  if (status == FAULTLOOM_OK)
    status = faultloom_rank(model, job.data, job.size, rank_options, strlen(rank_options), NULL,
                            NULL, &answer, &error);
  if (status == FAULTLOOM_OK) {
    if (strstr(faultloom_text_data(answer), "\"probability\"") == NULL) give_up("no ranking");
    faultloom_text_free(answer);
    status = faultloom_next_step(model, job.data, job.size, step_options, strlen(step_options),
                                 NULL, NULL, &answer, &error);
  }
  if (status == FAULTLOOM_OK) faultloom_text_free(answer);
  if (status != FAULTLOOM_OK && status != FAULTLOOM_E_MEMORY)
    give_up(faultloom_error_message(error));
  if (status != faultloom_error_code(error)) give_up("a status without its error");
  faultloom_error_free(error);
  faultloom_model_free(model);
  return status;
}

int main(void) {
  size_t before;
  size_t taken;
  size_t bytes_before;
  size_t limit;
  size_t refused = 0;

  vehicle = read_file(FAULTLOOM_DATA_DIR "/vehicles/mulch-tug.json");
  job = read_file(FAULTLOOM_DATA_DIR "/jobs/compost-yard-dead-tug.json");
  /* What the language and the library set up once stays. */
  if (diagnose() != FAULTLOOM_OK) give_up("no memory though the pool has room");

  before = pieces_in_use;
  bytes_before = bytes_in_use;
  taken = pieces_taken;
  if (diagnose() != FAULTLOOM_OK) give_up("no memory though the pool has room");
  taken = pieces_taken - taken;
  if (taken < 1000) give_up("the library takes its memory elsewhere");
  if (pieces_in_use != before || bytes_in_use != bytes_before) give_up("memory was not given back");

  /* From too little even for the model to enough for all. */
  for (limit = (size_t)1 << 16; limit < POOL_BYTES; limit += limit / 4) {
    faultloom_status status;
    most_bytes = bytes_before + limit;
    status = diagnose();
    most_bytes = POOL_BYTES;
    if (pieces_in_use != before) give_up("memory was not given back after a failure");
    if (status == FAULTLOOM_OK) break;
    ++refused;
  }
  if (refused == 0) give_up("the limit had no effect");
  if (limit >= POOL_BYTES) give_up("the library never had enough");
  if (diagnose() != FAULTLOOM_OK) give_up("no way back from a failure");
  printf("%lu pieces for a job, %lu refusals, enough with %lu KiB\n", (unsigned long)taken,
         (unsigned long)refused, (unsigned long)(limit >> 10));
  return 0;
}
