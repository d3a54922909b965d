#include <faultloom.h>

int main(void) { return faultloom_abi_version() == FAULTLOOM_ABI_VERSION ? 0 : 1; }
