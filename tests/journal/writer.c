/*
 * Writes to a journal until it is killed: writer PATH FIRST
 *
 * Change number N, from FIRST on, adds the entry cN. After each, N is put on standard output as one line:
 * only then does it count as acknowledged. Ends with 3 if the library refuses anything.
 */
#include <faultloom.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char first_job[] =
    "{\"format\":\"faultloom.job\",\"version\":\"1.0\",\"id\":\"killed\",\"vehicle\":\"hauler\","
    "\"entries\":[]}";

static int refused(faultloom_error* error) {
  fprintf(stderr, "%s\n", faultloom_error_message(error));
  faultloom_error_free(error);
  return 3;
}

int main(int count, char** arguments) {
  char change[200];
  faultloom_journal* journal = NULL;
  faultloom_error* error = NULL;
  const char* path = count > 1 ? arguments[1] : "";
  long n = count > 2 ? atol(arguments[2]) : 0;
  faultloom_status status = FAULTLOOM_OK;
  status = faultloom_journal_open(path, strlen(path), NULL, &journal, &error);
  if (status == FAULTLOOM_E_STORAGE) {
    faultloom_error_free(error);
    status = faultloom_journal_create(path, strlen(path), NULL, first_job, sizeof first_job - 1,
                                      &journal, &error);
  }
  if (status != FAULTLOOM_OK) return refused(error);
  for (;; ++n) {
    char line[32];
    faultloom_text* added = NULL;
    int size = sprintf(change,
                       "{\"add\":[{\"id\":\"c%ld\",\"type\":\"look\",\"component\":\"W7\","
                       "\"outcome\":\"clean\"}],\"set\":{\"x-changes\":%ld}}",
                       n, n);
    if (faultloom_journal_append(journal, change, (size_t)size, &added, &error) != FAULTLOOM_OK)
      return refused(error);
    faultloom_text_free(added);
    size = sprintf(line, "%ld\n", n);
    if (write(1, line, (size_t)size) != size) return 4;
  }
}
