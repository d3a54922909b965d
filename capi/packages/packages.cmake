# Debian packages of an installed build: library, development files, data, Python package, command line.
# See build-debs, which configures a build for them.
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME faultloom)
set(CPACK_PACKAGE_VERSION ${PROJECT_VERSION})
set(CPACK_PACKAGE_CONTACT "Faultloom developers <developers@faultloom.invalid>")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_COMPONENTS_ALL runtime development data)
if(FAULTLOOM_BUILD_PYTHON)
  list(APPEND CPACK_COMPONENTS_ALL python tools)
endif()
set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_PRIORITY optional)
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)

set(what "Faultloom finds which part or wire keeps a small battery-electric utility vehicle from
 running, from a model of its wiring and a few readings, and says what to test or repair next.")

# package(COMPONENT NAME SECTION SUMMARY DEPENDS): one package.
macro(faultloom_package component name section summary depends)
  string(TOUPPER ${component} upper)
  set(CPACK_DEBIAN_${upper}_PACKAGE_NAME ${name})
  set(CPACK_DEBIAN_${upper}_PACKAGE_SECTION ${section})
  set(CPACK_DEBIAN_${upper}_PACKAGE_DEPENDS "${depends}")
  set(CPACK_COMPONENT_${upper}_DESCRIPTION "${summary}\n${what}")
  install(FILES ${CMAKE_CURRENT_LIST_DIR}/copyright
    DESTINATION ${CMAKE_INSTALL_DATAROOTDIR}/doc/${name} COMPONENT ${component})
endmacro()

set(same "(= ${PROJECT_VERSION})")
faultloom_package(runtime libfaultloom${abi} libs "Electrical fault finding, shared library" "")
set(CPACK_DEBIAN_RUNTIME_PACKAGE_SHLIBDEPS ON)
faultloom_package(development libfaultloom-dev libdevel
  "Electrical fault finding, files to build programs with" "libfaultloom${abi} ${same}")
faultloom_package(data faultloom-data science
  "Electrical fault finding, part kinds, rates, example vehicles and schemas" "")
set(CPACK_DEBIAN_DATA_PACKAGE_ARCHITECTURE all)

if(FAULTLOOM_BUILD_PYTHON)
  set(next ${Python_VERSION_MAJOR}.${Python_VERSION_MINOR})
  math(EXPR minor "${Python_VERSION_MINOR} + 1")
  set(python "python3 (>= ${next}), python3 (<< ${Python_VERSION_MAJOR}.${minor})")
  faultloom_package(python python3-faultloom python "Electrical fault finding, Python package"
    "faultloom-data ${same}, ${python}, python3-jinja2 (>= 3.1), python3-numpy (>= 1:1.24), python3-rich (>= 13)")
  set(CPACK_DEBIAN_PYTHON_PACKAGE_SHLIBDEPS ON)
  set(CPACK_DEBIAN_PYTHON_PACKAGE_CONTROL_EXTRA
    "${CMAKE_CURRENT_LIST_DIR}/python/postinst;${CMAKE_CURRENT_LIST_DIR}/python/prerm")
  faultloom_package(tools faultloom-tools science "Electrical fault finding, command line"
    "python3-faultloom ${same}")
  set(CPACK_DEBIAN_TOOLS_PACKAGE_ARCHITECTURE all)
  install(PROGRAMS ${CMAKE_CURRENT_LIST_DIR}/faultloom
    DESTINATION ${CMAKE_INSTALL_BINDIR} COMPONENT tools)
  install(FILES ${PROJECT_SOURCE_DIR}/README.md ${PROJECT_SOURCE_DIR}/examples/c/diagnose.c
    ${PROJECT_SOURCE_DIR}/examples/python/diagnose.py
    DESTINATION ${CMAKE_INSTALL_DATAROOTDIR}/doc/faultloom-tools/examples COMPONENT tools)
endif()

include(CPack)
