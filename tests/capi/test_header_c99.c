/* The header in strict C99, and the shortest whole job: from two files to the leading suspect. */
#include <faultloom.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Text of a file with a NUL after it, to be freed by the caller; NULL if it can't be read. */
static char* read_file(const char* path, size_t* size) {
  FILE* file = fopen(path, "rb");
  char* text = NULL;
  long length;
  if (file == NULL) return NULL;
  if (fseek(file, 0, SEEK_END) == 0 && (length = ftell(file)) >= 0 &&
      fseek(file, 0, SEEK_SET) == 0) {
    text = malloc((size_t)length + 1);
    if (text != NULL) {
      *size = fread(text, 1, (size_t)length, file);
      text[*size] = '\0';
    }
  }
  fclose(file);
  return text;
}

#define CHECK(condition)                                                \
  do {                                                                  \
    if (!(condition)) {                                                 \
      fprintf(stderr, "line %d: not true: %s\n", __LINE__, #condition); \
      ++failures;                                                       \
    }                                                                   \
  } while (0)

int main(void) {
  int failures = 0;
  size_t vehicle_size = 0, job_size = 0, needed = 0;
  char* vehicle = read_file(FAULTLOOM_DATA_DIR "/vehicles/mulch-tug.json", &vehicle_size);
  char* job = read_file(FAULTLOOM_DATA_DIR "/jobs/compost-yard-dead-tug.json", &job_size);
  faultloom_model* model = NULL;
  faultloom_text* ranking = NULL;
  faultloom_error* error = NULL;

  CHECK(faultloom_abi_version() == FAULTLOOM_ABI_VERSION);
  CHECK(strlen(faultloom_version()) > 0);
  CHECK(vehicle != NULL && job != NULL);
  if (vehicle == NULL || job == NULL) return 1;

  CHECK(faultloom_model_from_json(vehicle, vehicle_size, NULL, 0, NULL, 0, NULL, 0, NULL, 0, NULL,
                                  NULL, &model, &error) == FAULTLOOM_OK);
  if (error != NULL) fprintf(stderr, "%s\n", faultloom_error_message(error));
  CHECK(error == NULL && model != NULL);
  CHECK(faultloom_terminal_volts(model, NULL, 0, NULL, 0, &needed, &error) == FAULTLOOM_OK);
  CHECK(needed > 0);
  CHECK(faultloom_rank(model, job, job_size, NULL, 0, NULL, NULL, &ranking, &error) ==
        FAULTLOOM_OK);
  if (error != NULL) fprintf(stderr, "%s\n", faultloom_error_message(error));
  CHECK(strstr(faultloom_text_data(ranking), "\"faultloom.ranking\"") != NULL);
  CHECK(strlen(faultloom_text_data(ranking)) == faultloom_text_size(ranking));

  faultloom_error_free(error);
  faultloom_text_free(ranking);
  faultloom_model_free(model);
  free(job);
  free(vehicle);
  return failures == 0 ? 0 : 1;
}
