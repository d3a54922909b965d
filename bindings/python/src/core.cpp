#include <faultloom/base/error.hpp>
