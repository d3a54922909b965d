# Tests of the C interface. A C file with its own main() is a program and a test of its own; the other
# C files are linked with the C++ files into faultloom_capi_test.
file(GLOB c_sources CONFIGURE_DEPENDS capi/*.c)
file(GLOB capi_sources CONFIGURE_DEPENDS capi/*.cpp)

foreach(source IN LISTS c_sources)
  set_property(SOURCE ${source} PROPERTY COMPILE_OPTIONS -pedantic -Werror)
  file(STRINGS ${source} main_line REGEX "int[ \t]+main[ \t]*\\(")
  if(NOT main_line)
    list(APPEND capi_sources ${source})
    continue()
  endif()
  cmake_path(GET source STEM name)
  if(FAULTLOOM_SANITIZE AND name STREQUAL "own_allocator")
    continue()  # Sanitizers have an allocator of their own.
  endif()
  add_executable(capi_${name} ${source})
  faultloom_configure(capi_${name})
  target_compile_definitions(capi_${name} PRIVATE
    FAULTLOOM_DATA_DIR="${PROJECT_SOURCE_DIR}/data"
    FAULTLOOM_TESTS_DIR="${CMAKE_CURRENT_SOURCE_DIR}")
  target_link_libraries(capi_${name} PRIVATE faultloom)
  add_test(NAME capi_${name} COMMAND capi_${name})
endforeach()

faultloom_gtest(faultloom_capi_test ${capi_sources})
if(TARGET faultloom_capi_test)
  target_include_directories(faultloom_capi_test PRIVATE ${PROJECT_SOURCE_DIR}/capi/src)
  target_link_libraries(faultloom_capi_test PRIVATE faultloom)
endif()

# Threads that read one model; see tests/tools/threads.
if(FAULTLOOM_SANITIZE STREQUAL "thread")
  find_package(Threads REQUIRED)
  add_executable(faultloom_readers threads/readers.cpp)
  faultloom_configure(faultloom_readers)
  target_compile_definitions(faultloom_readers PRIVATE
    FAULTLOOM_DATA_DIR="${PROJECT_SOURCE_DIR}/data")
  target_link_libraries(faultloom_readers PRIVATE faultloom Threads::Threads)
endif()

faultloom_check(check_header check_header.py ${PROJECT_SOURCE_DIR}
  --library $<TARGET_FILE:faultloom> --cc ${CMAKE_C_COMPILER} --cxx ${CMAKE_CXX_COMPILER}
  --nm ${CMAKE_NM})
faultloom_check(check_c_reference reference.py c ${PROJECT_SOURCE_DIR}
  ${CMAKE_BINARY_DIR}/reference/c)
if(NOT FAULTLOOM_SANITIZE)
  faultloom_check(check_abi check_abi.py ${PROJECT_SOURCE_DIR}
    --library $<TARGET_FILE:faultloom> --cc ${CMAKE_C_COMPILER})
  # A plain program can't load a library built with a sanitizer.
  faultloom_check(check_install check_install.py ${PROJECT_SOURCE_DIR} ${CMAKE_BINARY_DIR}
    --cmake ${CMAKE_COMMAND} --cc ${CMAKE_C_COMPILER})
  faultloom_check(check_c_examples check_examples.py c ${PROJECT_SOURCE_DIR}
    --library $<TARGET_FILE:faultloom> --cc ${CMAKE_C_COMPILER})
endif()
