# find_package(tautline) for the C++ headers: nothing is to be built.
#
#   find_package(tautline 0.1 REQUIRED CONFIG PATHS path/to/tautline/src/client/cpp/cmake)
#   target_link_libraries(my_app PRIVATE tautline::client)
if(NOT TARGET tautline::client)
  add_library(tautline::client INTERFACE IMPORTED)
  get_filename_component(_tautline_headers "${CMAKE_CURRENT_LIST_DIR}/.." ABSOLUTE)
  set_target_properties(tautline::client PROPERTIES
    INTERFACE_INCLUDE_DIRECTORIES "${_tautline_headers}"
    INTERFACE_COMPILE_FEATURES cxx_std_17)
  if(WIN32)
    set_property(TARGET tautline::client PROPERTY INTERFACE_LINK_LIBRARIES ws2_32)
  endif()
  unset(_tautline_headers)
endif()
