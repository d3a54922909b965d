/*
 * Finds the leading suspect of a job and what to do next.
 *
 * Usage: diagnose VEHICLE.json JOB.json
 */
#include <faultloom.h>

#include <stdio.h>
#include <stdlib.h>

typedef struct {
  char* data;
  size_t size;
} bytes;

/* A whole file; data is NULL if it can't be read. */
static bytes read_file(const char* path) {
  bytes text = {NULL, 0};
  FILE* file = fopen(path, "rb");
  long length = -1;
  if (file == NULL) return text;
  if (fseek(file, 0, SEEK_END) == 0) length = ftell(file);
  if (length >= 0 && fseek(file, 0, SEEK_SET) == 0) text.data = malloc((size_t)length + 1);
  if (text.data != NULL) text.size = fread(text.data, 1, (size_t)length, file);
  fclose(file);
  return text;
}

int main(int argc, char** argv) {
  faultloom_model* model = NULL;
  faultloom_text* ranking = NULL;
  faultloom_text* step = NULL;
  faultloom_error* error = NULL;
  faultloom_status status;
  bytes vehicle, job;

  if (argc != 3) {
    fprintf(stderr, "Usage: %s VEHICLE.json JOB.json\n", argv[0]);
    return 2;
  }
  vehicle = read_file(argv[1]);
  job = read_file(argv[2]);
  if (vehicle.data == NULL || job.data == NULL) {
    fprintf(stderr, "Can't read %s\n", vehicle.data == NULL ? argv[1] : argv[2]);
    free(job.data);
    free(vehicle.data);
    return 2;
  }

  /* The documents after the vehicle are left out: those that come with the library are used. */
  status = faultloom_model_from_json(vehicle.data, vehicle.size, NULL, 0, NULL, 0, NULL, 0, NULL, 0,
                                     NULL, NULL, &model, &error);
  if (status == FAULTLOOM_OK)
    status = faultloom_rank(model, job.data, job.size, NULL, 0, NULL, NULL, &ranking, &error);
  if (status == FAULTLOOM_OK)
    status = faultloom_next_step(model, job.data, job.size, NULL, 0, NULL, NULL, &step, &error);

  if (status == FAULTLOOM_OK) {
    printf("%s%s", faultloom_text_data(ranking), faultloom_text_data(step));
  } else {
    fprintf(stderr, "%s (%s)\n", faultloom_error_message(error), faultloom_status_name(status));
    fprintf(stderr, "%s", faultloom_error_details(error)); /* every problem with its place */
  }

  faultloom_error_free(error);
  faultloom_text_free(step);
  faultloom_text_free(ranking);
  faultloom_model_free(model);
  free(job.data);
  free(vehicle.data);
  return status == FAULTLOOM_OK ? 0 : 1;
}
