# Journals under attack: processes that are killed, that race, that fill a disk.
add_executable(faultloom_journal_writer journal/writer.c)
faultloom_configure(faultloom_journal_writer)
target_link_libraries(faultloom_journal_writer PRIVATE faultloom)
set_target_properties(faultloom_journal_writer PROPERTIES C_EXTENSIONS ON)

faultloom_gtest(faultloom_journal_test journal/killer_test.cpp)
target_compile_definitions(faultloom_journal_test PRIVATE
  FAULTLOOM_JOURNAL_WRITER="$<TARGET_FILE:faultloom_journal_writer>"
  FAULTLOOM_SANITIZED=$<BOOL:${FAULTLOOM_SANITIZE}>)
add_dependencies(faultloom_journal_test faultloom_journal_writer)
