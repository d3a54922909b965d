/* The reference job through the C interface, in C99. See ../README.md for what is written. */
#include <faultloom.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MOST_SHARES 10000

struct text {
  char* data;
  size_t size;
};

struct watcher {
  size_t count;
  size_t stop_at; /* 0: never */
  double shares[MOST_SHARES];
};

static void give_up(const char* what) {
  fprintf(stderr, "%s\n", what);
  exit(1);
}

static struct text read_file(const char* path) {
  struct text text = {NULL, 0};
  FILE* file = fopen(path, "rb");
  long length;
  if (file == NULL || fseek(file, 0, SEEK_END) != 0 || (length = ftell(file)) < 0) give_up(path);
  rewind(file);
  text.data = malloc((size_t)length + 1);
  if (text.data == NULL) give_up("out of memory");
  text.size = fread(text.data, 1, (size_t)length, file);
  fclose(file);
  return text;
}

static FILE* open_output(const char* folder, const char* name) {
  char path[4096];
  FILE* file;
  if ((size_t)snprintf(path, sizeof path, "%s/%s", folder, name) >= sizeof path) give_up(folder);
  file = fopen(path, "wb");
  if (file == NULL) give_up(path);
  return file;
}

static void write_file(const char* folder, const char* name, const char* data, size_t size) {
  FILE* file = open_output(folder, name);
  if (fwrite(data, 1, size, file) != size || fclose(file) != 0) give_up(name);
}

static void expect_ok(faultloom_status status, const faultloom_error* error) {
  if (status != FAULTLOOM_OK) give_up(faultloom_error_message(error));
}

static int32_t watch(double share, void* user) {
  struct watcher* watcher = user;
  if (watcher->count < MOST_SHARES) watcher->shares[watcher->count] = share;
  ++watcher->count;
  return watcher->count == watcher->stop_at ? 1 : 0;
}

static void write_numbers(FILE* facts, const char* name, const double* values, size_t count) {
  size_t i;
  fputs(name, facts);
  for (i = 0; i < count; ++i) fprintf(facts, " %.17g", values[i]);
  fputc('\n', facts);
}

static void write_names(FILE* facts, const faultloom_model* model) {
  faultloom_error* error = NULL;
  const char* first = NULL;
  const char* last = NULL;
  size_t count = 0;
  expect_ok(faultloom_terminal_count(model, &count, &error), error);
  expect_ok(faultloom_terminal_name(model, 0, &first, &error), error);
  expect_ok(faultloom_terminal_name(model, count - 1, &last, &error), error);
  fprintf(facts, "terminals %zu %s %s\n", count, first, last);
  expect_ok(faultloom_mode_count(model, &count, &error), error);
  expect_ok(faultloom_mode_name(model, 0, &first, &error), error);
  expect_ok(faultloom_mode_name(model, count - 1, &last, &error), error);
  fprintf(facts, "modes %zu %s %s\n", count, first, last);
}

static void write_arrays(FILE* facts, const faultloom_model* model, struct text job) {
  static const char situation[] = "{\"state\":{\"key\":\"on\"}}";
  faultloom_error* error = NULL;
  size_t count = 0;
  double* values;
  expect_ok(faultloom_terminal_volts(model, situation, strlen(situation), NULL, 0, &count, &error),
            error);
  values = malloc(count * sizeof *values);
  if (values == NULL) give_up("out of memory");
  expect_ok(
      faultloom_terminal_volts(model, situation, strlen(situation), values, count, &count, &error),
      error);
  write_numbers(facts, "volts", values, count);
  free(values);

  expect_ok(
      faultloom_mode_posteriors(model, job.data, job.size, NULL, NULL, NULL, 0, &count, &error),
      error);
  values = malloc(count * sizeof *values);
  if (values == NULL) give_up("out of memory");
  expect_ok(faultloom_mode_posteriors(model, job.data, job.size, NULL, NULL, values, count, &count,
                                      &error),
            error);
  write_numbers(facts, "posteriors", values, count);
  free(values);
}

static void write_answers(FILE* facts, const char* folder, const faultloom_model* model,
                          struct text job) {
  static const char rank_options[] = "{\"top\":10,\"budget_sets\":500}";
  static const char step_options[] = "{\"alternatives\":1}";
  static struct watcher watcher;
  static struct watcher impatient;
  faultloom_error* error = NULL;
  faultloom_text* answer = NULL;
  faultloom_status status;
  expect_ok(faultloom_rank(model, job.data, job.size, rank_options, strlen(rank_options), NULL,
                           NULL, &answer, &error),
            error);
  write_file(folder, "ranking.json", faultloom_text_data(answer), faultloom_text_size(answer));
  faultloom_text_free(answer);

  expect_ok(faultloom_next_step(model, job.data, job.size, step_options, strlen(step_options),
                                watch, &watcher, &answer, &error),
            error);
  write_file(folder, "step.json", faultloom_text_data(answer), faultloom_text_size(answer));
  faultloom_text_free(answer);
  if (watcher.count > MOST_SHARES) give_up("too many shares");
  write_numbers(facts, "shares", watcher.shares, watcher.count);

  impatient.stop_at = 3;
  status = faultloom_next_step(model, job.data, job.size, step_options, strlen(step_options), watch,
                               &impatient, &answer, &error);
  fprintf(facts, "cancelled %ld %zu\n", (long)status, impatient.count);
  if (answer != NULL) give_up("a stopped call left an answer");
  faultloom_error_free(error);
}

static void write_refusals(FILE* facts, const char* folder, struct text broken) {
  faultloom_error* error = NULL;
  faultloom_model* model = NULL;
  const char* details;
  faultloom_status status = faultloom_model_from_json(broken.data, broken.size, NULL, 0, NULL, 0,
                                                      NULL, 0, NULL, 0, NULL, NULL, &model, &error);
  if (model != NULL || status != faultloom_error_code(error)) give_up("the broken vehicle loads");
  fprintf(facts, "error %ld %s %s\n", (long)status, faultloom_status_name(status),
          faultloom_error_pointer(error));
  fprintf(facts, "message %s\n", faultloom_error_message(error));
  details = faultloom_error_details(error);
  write_file(folder, "details.json", details, strlen(details));
  faultloom_error_free(error);

  status = faultloom_model_from_json(NULL, 0, NULL, 0, NULL, 0, NULL, 0, NULL, 0, NULL, NULL,
                                     &model, &error);
  fprintf(facts, "missing %ld %s\n", (long)status, faultloom_error_message(error));
  faultloom_error_free(error);
}

int main(int argc, char** argv) {
  struct text vehicle, job, broken;
  faultloom_model* model = NULL;
  faultloom_error* error = NULL;
  FILE* facts;
  if (argc != 5) give_up("usage: client VEHICLE JOB BROKEN FOLDER");
  vehicle = read_file(argv[1]);
  job = read_file(argv[2]);
  broken = read_file(argv[3]);
  facts = open_output(argv[4], "facts.txt");

  fprintf(facts, "version %s\n", faultloom_version());
  fprintf(facts, "abi %lu\n", (unsigned long)faultloom_abi_version());
  expect_ok(faultloom_model_from_json(vehicle.data, vehicle.size, NULL, 0, NULL, 0, NULL, 0, NULL,
                                      0, NULL, NULL, &model, &error),
            error);
  write_names(facts, model);
  write_arrays(facts, model, job);
  write_answers(facts, argv[4], model, job);
  write_refusals(facts, argv[4], broken);

  faultloom_model_free(model);
  free(vehicle.data);
  free(job.data);
  free(broken.data);
  return fclose(facts) == 0 ? 0 : 1;
}
